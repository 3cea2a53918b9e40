package walk

import (
	"fmt"
	"slices"
	"strings"
)

// Text gives the result as people read it: the matrix valve by probe, then a verdict a
// line, then how long outputs took to close.
func (r *Result) Text() string {
	var b strings.Builder
	if r.Partial {
		fmt.Fprintf(&b, "Partial: %s.\n", r.Why)
	}
	r.table().write(&b)
	for i := range r.Valves {
		row := &r.Valves[i]
		if r.timed(row.Valve) {
			continue // said below
		}
		fmt.Fprintf(&b, "%-*s  %-15s %s\n", r.widest(), row.Valve, row.Verdict, row.Because)
	}
	for i := range r.Closings {
		fmt.Fprintf(&b, "%-*s  %s\n", r.widest(), r.Closings[i].Valve, r.Closings[i].Because)
	}
	if len(r.Probes) == 0 {
		return b.String()
	}
	for i := range r.Zones {
		z := &r.Zones[i]
		fmt.Fprintf(&b, "zone %s: %s\n", z.Zone, r.zoneWords(z))
	}
	return b.String()
}

// Sentence says in one what the walk found.
func (r *Result) Sentence() string {
	var bad []string
	for i := range r.Valves {
		if v := &r.Valves[i]; v.Verdict != AsConfigured {
			bad = append(bad, v.Valve+" "+string(v.Verdict))
		}
	}
	s := fmt.Sprintf("%d of %s as configured", len(r.Valves)-len(bad), Valves(len(r.Valves)))
	if len(bad) > 0 {
		s += "; " + strings.Join(bad, ", ")
	}
	if r.Partial {
		s += "; partial: " + r.Why
	}
	return s
}

// Valves counts valves in words: "1 valve", "2 valves".
func Valves(n int) string {
	if n == 1 {
		return "1 valve"
	}
	return fmt.Sprintf("%d valves", n)
}

// zoneWords says what the walk makes of a zone.
func (r *Result) zoneWords(z *ZoneResult) string {
	word, left := "not sure", false
	for i := range r.Valves {
		switch row := &r.Valves[i]; {
		case row.Zone != z.Zone:
		case !row.Says():
			left = true
		case row.contrary():
			return "not as configured: " + z.Because
		}
	}
	switch {
	case z.Good:
		return "walked, as configured"
	case left || len(r.rowsOf(z.Zone)) == 0:
		word = "not walked this time"
	}
	return word + ": " + z.Because
}

// rowsOf gives the indices of a zone's valves.
func (r *Result) rowsOf(zone string) (out []int) {
	for i := range r.Valves {
		if r.Valves[i].Zone == zone {
			out = append(out, i)
		}
	}
	return out
}

// timed reports whether the closing of an output was watched.
func (r *Result) timed(valve string) bool {
	return slices.ContainsFunc(r.Closings, func(c Closing) bool { return c.Valve == valve })
}

func (r *Result) widest() (n int) {
	for i := range r.Valves {
		n = max(n, len(r.Valves[i].Valve))
	}
	for i := range r.Closings {
		n = max(n, len(r.Closings[i].Valve))
	}
	return max(n, len("valve"))
}

func (r *Result) table() *table {
	t := &table{probes: r.Probes, widest: r.widest()}
	for i := range r.Valves {
		row := &r.Valves[i]
		t.rows = append(t.rows, row)
		t.own = append(t.own, func(k int) bool { return r.Probes[k].Zone == row.Zone })
	}
	return t
}

// Text gives what a cell of the matrix shows: "[2.9]", "." where nothing rose.
func (c *Cell) Text(own bool) string {
	s := fmt.Sprintf("%.1f", c.Points)
	switch c.Seen {
	case Unheard:
		s = "-"
	case Doubt:
		s += "?"
	case Still:
		s = "."
	case "":
		s = " "
	}
	if own {
		return "[" + s + "]"
	}
	return s
}

// Good reports whether the walk came to its end and every valve is as configured.
func (r *Result) Good() bool {
	for i := range r.Valves {
		if r.Valves[i].Verdict != AsConfigured {
			return false
		}
	}
	for i := range r.Closings {
		if late := r.Closings[i].Late; late == nil || *late > closedInTime.Seconds() {
			return false
		}
	}
	return !r.Partial && len(r.Valves) > 0
}
