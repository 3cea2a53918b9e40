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
	if slices.ContainsFunc(r.Valves, func(row Row) bool { return len(row.Cells) > 0 }) {
		r.matrix(&b)
	}
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
		word := "not as configured"
		if z.Good {
			word = "walked, as configured"
		}
		fmt.Fprintf(&b, "zone %s: %s", z.Zone, word)
		if !z.Good {
			fmt.Fprintf(&b, ": %s", z.Because)
		}
		b.WriteByte('\n')
	}
	return b.String()
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

// matrix writes the table: under each valve what its probes rose by, those of its own zone
// in brackets; points.
func (r *Result) matrix(b *strings.Builder) {
	fmt.Fprintf(b, "points that each probe rose by, [own zone]; ? = not sure, - = not heard\n%-*s", r.widest(), "valve")
	for i := range r.Probes {
		fmt.Fprintf(b, " %*s", r.column(i), r.Probes[i].ID)
	}
	b.WriteByte('\n')
	for i := range r.Valves {
		row := &r.Valves[i]
		if len(row.Cells) == 0 {
			continue
		}
		fmt.Fprintf(b, "%-*s", r.widest(), row.Valve)
		for k := range row.Cells {
			fmt.Fprintf(b, " %*s", r.column(k), row.Cells[k].Text(r.Probes[k].Zone == row.Zone))
		}
		if row.Expected > 0 {
			fmt.Fprintf(b, "  of %.1f", row.Expected)
		}
		if row.FlowLPM != nil {
			fmt.Fprintf(b, ", %.1f L/min", *row.FlowLPM)
		}
		b.WriteByte('\n')
	}
}

func (r *Result) column(probe int) int { return max(len(r.Probes[probe].ID), 7) }

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
