package walk

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// table is the matrix valve by probe: under each valve what the probes rose by, those of
// its own zone in brackets; points.
type table struct {
	probes []Probe
	rows   []*Row
	own    []func(probe int) bool // by row: whether a probe is of the valve's zone
	widest int                    // of the valves' names
}

// write writes the matrix, if any row has cells.
func (t *table) write(b *strings.Builder) {
	if !slices.ContainsFunc(t.rows, func(r *Row) bool { return len(r.Cells) > 0 }) {
		return
	}
	fmt.Fprintf(b, "points that each probe rose by, [own zone]; . = it did not, ? = not sure, - = not heard\n%-*s", t.widest, "valve")
	for i := range t.probes {
		fmt.Fprintf(b, " %*s", t.column(i), t.probes[i].ID)
	}
	b.WriteByte('\n')
	for i, row := range t.rows {
		if len(row.Cells) == 0 {
			continue
		}
		fmt.Fprintf(b, "%-*s", t.widest, row.Valve)
		for k := range row.Cells {
			fmt.Fprintf(b, " %*s", t.column(k), row.Cells[k].Text(t.own[i](k)))
		}
		if row.Expected > 0 {
			fmt.Fprintf(b, "  of %.1f", row.Expected)
		}
		if row.FlowLPM != nil {
			fmt.Fprintf(b, ", %s L/min", litres(*row.FlowLPM))
		}
		b.WriteByte('\n')
	}
}

func (t *table) column(probe int) int { return max(len(t.probes[probe].ID), 7) }

// Text gives what stands by, in the time zone of loc (nil = as the times are written, the
// room's): the matrix, then of each valve the
// verdict, when it was walked and by whom, then how each zone stands.
func (l *Last) Text(loc *time.Location) string {
	var b strings.Builder
	t := &table{probes: l.Probes, widest: len("valve")}
	when, by, verdict := 0, 0, 0
	for i := range l.Valves {
		row := &l.Valves[i]
		t.widest = max(t.widest, len(row.Valve))
		t.rows = append(t.rows, &row.Row)
		t.own = append(t.own, func(k int) bool { return row.Own(l.Probes[k].ID) })
		when, by, verdict = max(when, len(row.when(loc))), max(by, len(row.By)), max(verdict, len(row.Verdict))
	}
	if w := l.Walk; w != nil {
		fmt.Fprintf(&b, "The last walk: %s.\n", w.Words(loc))
	}
	t.write(&b)
	for i := range l.Valves {
		row := &l.Valves[i]
		fmt.Fprintf(&b, "%-*s  %-*s  %-*s  %-*s  %s\n", t.widest, row.Valve, when, row.when(loc), by, row.By, verdict, row.Verdict, row.Because)
	}
	for i := range l.Zones {
		fmt.Fprintf(&b, "zone %s: %s\n", l.Zones[i].Zone, l.Zones[i].Words(loc))
	}
	return b.String()
}

func (r *LastRow) when(loc *time.Location) string {
	if r.Walked.IsZero() {
		return "-"
	}
	return in(r.Walked, loc)
}

// Words says when the last walk was, by whom, and what came of it.
func (n *Newest) Words(loc *time.Location) string {
	s := in(n.Begun, loc)
	if n.By != "" {
		s += " by " + n.By
	}
	return s + ": " + n.Found
}

// Words says how the zone stands, and by what.
func (z *LastZone) Words(loc *time.Location) string {
	switch {
	case z.NotWalked != "":
		return "not walked: " + z.NotWalked
	case z.WalkedAt == nil:
		return "walked, as configured"
	}
	s := "walked, as configured, " + in(*z.WalkedAt, loc)
	if a := z.Accepted; a != nil {
		s = fmt.Sprintf("counts as walked by the word of %s, %s: %s", a.By, in(a.At, loc), a.Note)
	}
	if z.Doubt != "" {
		s += "; the last walk of it was not sure (" + z.Doubt + ")"
	}
	return s
}

func in(t time.Time, loc *time.Location) string {
	if loc != nil {
		t = t.In(loc)
	}
	return t.Format("2006-01-02 15:04")
}
