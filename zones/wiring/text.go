package wiring

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// String gives the sheet as plain text, for a terminal.
func (s Sheet) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "wiring of room %s%s\n", s.Room, named(s.Name, s.Room))
	for i := range s.Controllers {
		c := &s.Controllers[i]
		fmt.Fprintf(&b, "\ncontroller %s\n", c.ID)
		for j := range c.Terminals {
			c.Terminals[j].write(&b, c.ID, s.US)
		}
		writeRuns(&b, "valves, two wires each, copper at 20 °C / 75 °C", valveRows(c.Valves, s.US))
		if h := c.Healthy; h != nil {
			writeRuns(&b, "healthy output, two wires to a relay, copper at 20 °C / 75 °C", [][]string{HealthyHead(), h.Cells(s.US)})
			for _, step := range h.Steps() {
				fmt.Fprintf(&b, "    - %s\n", step)
			}
		}
		fmt.Fprintf(&b, "  transformer: %s\n", c.Transformer)
	}
	s.writeShopping(&b)
	b.WriteString("\nfindings\n")
	if len(s.Findings) == 0 {
		b.WriteString("  none\n")
	}
	for _, f := range s.Findings {
		f.write(&b)
	}
	b.WriteString("\ntaken for granted\n")
	for _, a := range s.Assumptions {
		fmt.Fprintf(&b, "  - %s\n", a)
	}
	return b.String()
}

func named(name, id string) string {
	if name == "" || name == id {
		return ""
	}
	return " (" + name + ")"
}

// Layout says in a word or two how the terminal is built.
func (t *TerminalSheet) Layout() string {
	if t.Star {
		return "star"
	}
	return "chain"
}

// Title says what hangs on the terminal: "chain of 4 probes, 22 AWG".
func (t *TerminalSheet) Title() string {
	if len(t.Probes) == 0 {
		return "no probes"
	}
	s := t.Layout() + " of " + counted(len(t.Probes), "probe", "probes")
	if t.Cable != "" {
		s += ", " + t.Cable
	}
	return s
}

func (t *TerminalSheet) write(b *strings.Builder, controller string, us bool) {
	fmt.Fprintf(b, "  terminal %d: %s\n", t.Number, t.Title())
	if len(t.Probes) == 0 {
		return
	}
	fmt.Fprintf(b, "    %s/%d\n      | home run %s\n", controller, t.Number, t.HomeRun.Length(us))
	box := 0
	if t.Star || len(t.Boxes[0].Probes) == 0 {
		b.WriteString("    [B1]\n")
		box = 1
	}
	rows := [][]string{}
	for i := range t.Probes {
		p := &t.Probes[i]
		rows = append(rows, []string{p.arm(t.Star, us), p.ID, p.Label, "address " + p.Address, zoneWords(p.Zone), p.Run.Length(us), p.Hot.ProbeVolts.Measure(2, "V")})
	}
	widths := columns(rows)
	for i, row := range rows {
		head := "      "
		if p := &t.Probes[i]; !t.Star && p.Box != box {
			if box > 0 {
				fmt.Fprintf(b, "      | %s\n", p.Lead.Length(us))
			}
			box = p.Box
			head = fmt.Sprintf("    [B%d]", box)
		}
		fmt.Fprintf(b, "%-8s%s\n", head, strings.TrimRight(padded(row, widths), " "))
	}
	for _, line := range t.Lines(us) {
		fmt.Fprintf(b, "    %s\n", line)
	}
}

// arm draws the way from the box to the probe.
func (p *ProbeLine) arm(star, us bool) string {
	if star && p.Apart {
		return "--- " + p.Lead.Length(us) + " --o-- " + p.Tail.Length(us) + " ---"
	}
	return "--- " + p.Tail.Length(us) + " ---"
}

func zoneWords(zone string) string {
	if zone == "" {
		return "no zone"
	}
	return "zone " + zone
}

// Lines says in words how far and how much, for a terminal with probes.
func (t *TerminalSheet) Lines(us bool) []string {
	out := []string{}
	if run, known := t.LongestM.Value(); known {
		out = append(out, fmt.Sprintf("farthest probe: %s, %s of cable", t.Farthest, Length(run, us)))
	} else {
		out = append(out, "farthest probe: not known, a length is not given")
	}
	out = append(out, fmt.Sprintf("cable to cut: %s; the probes' own cables: %s", t.Bought.Length(us), t.Tails.Length(us)))
	if t.Lowest == "" {
		return append(out, "voltage at the far probe: not known")
	}
	if v, known := t.Hot.ProbeVolts.Value(); known && v <= 0 {
		return append(out, fmt.Sprintf("all drawing %s: nothing of %s V reaches %s, this cable would take more than there is", milliamps(t.DrawA), decimals(t.Volts, 1), t.Lowest))
	}
	return append(out, fmt.Sprintf("all drawing %s: %s of %s V reach %s at 75 °C (%s at 20 °C); ground drop %s (%s), SDI-12 allows %g V",
		milliamps(t.DrawA), t.Hot.ProbeVolts.Measure(2, "V"), decimals(t.Volts, 1), t.Lowest, t.Cool.ProbeVolts.Measure(2, "V"),
		t.Hot.GroundDrop.Measure(2, "V"), t.Cool.GroundDrop.Measure(2, "V"), SDI12GroundDrop))
}

func valveRows(valves []ValveRun, us bool) [][]string {
	rows := [][]string{ValveHead()}
	for i := range valves {
		rows = append(rows, valves[i].Cells(us))
	}
	return rows
}

// writeRuns writes rows under their head; a head alone is nothing.
func writeRuns(b *strings.Builder, title string, rows [][]string) {
	if len(rows) < 2 {
		return
	}
	widths := columns(rows)
	fmt.Fprintf(b, "  %s\n", title)
	for _, row := range rows {
		fmt.Fprintf(b, "    %s\n", strings.TrimRight(padded(row, widths), " "))
	}
}

// String says what the transformer must give.
func (t Transformer) String() string {
	need, known := t.Need.Value()
	switch {
	case len(t.Open) == 0:
		return "nothing draws on it"
	case !known:
		return "its load is not known"
	}
	missing := ""
	if len(t.Unknown) > 0 {
		missing = " without " + andList(t.Unknown) + ", whose current is not given"
	}
	s := fmt.Sprintf("open at once: %s, which hold %s%s; %s opening adds %s: %s VA; with a quarter spare %s", andList(t.Open), t.Holding.Measure(1, "VA"),
		missing, t.Opening, t.Inrush.Measure(1, "VA"), decimals(need, 1), t.Wanted.Measure(1, "VA"))
	if rating, rated := t.Rating.Value(); rated {
		return fmt.Sprintf("%s; it gives %s VA (%.0f %% over the need)", s, decimals(rating, 1), (rating/need-1)*100)
	}
	return s + "; its rating is not given"
}

func (s *Sheet) writeShopping(b *strings.Builder) {
	b.WriteString("\ncut list\n")
	for _, c := range s.Cuts {
		fmt.Fprintf(b, "  %2d x %-10s %-24s %s\n", c.Count, c.M.Length(s.US), c.Cable, strings.Join(c.Labels, ", "))
	}
	for _, t := range s.Totals {
		fmt.Fprintf(b, "  %s\n", t.Words(s.US))
	}
	b.WriteString("\nboxes and connectors\n")
	for _, p := range s.Parts {
		fmt.Fprintf(b, "  %2d x %s\n", p.Count, p.Kind)
	}
}

// Words says how much of a cable is to be bought.
func (t Total) Words(us bool) string {
	s := fmt.Sprintf("in all %s of %s", Length(t.M, us), t.Cable)
	switch {
	case t.Unknown == t.Pieces:
		return fmt.Sprintf("%s of %s without a length", counted(t.Unknown, "piece", "pieces"), t.Cable)
	case t.Unknown > 0:
		s += fmt.Sprintf(", and %s without a length", counted(t.Unknown, "piece", "pieces"))
	}
	return s
}

// Kind is "warning" or "note".
func (f Finding) Kind() string {
	if f.Warning {
		return "warning"
	}
	return "note"
}

// Where names what the finding is about, with its controller.
func (f Finding) Where() string {
	if f.Controller == "" {
		return f.Subject
	}
	return f.Controller + ", " + f.Subject
}

func (f Finding) write(b *strings.Builder) {
	fmt.Fprintf(b, "  %s: %s: %s\n", f.Kind(), f.Where(), f.Text)
	fmt.Fprintf(b, "    what to do: %s\n    limit from: %s\n", f.Do, f.Basis)
}

// columns gives each column's width in characters.
func columns(rows [][]string) (widths []int) {
	for _, row := range rows {
		for i, cell := range row {
			if i == len(widths) {
				widths = append(widths, 0)
			}
			widths[i] = max(widths[i], utf8.RuneCountInString(cell))
		}
	}
	return widths
}

func padded(row []string, widths []int) string {
	var b strings.Builder
	for i, cell := range row {
		if widths[i] > 0 {
			b.WriteString(cell + strings.Repeat(" ", widths[i]-utf8.RuneCountInString(cell)+2))
		}
	}
	return b.String()
}
