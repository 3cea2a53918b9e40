package preview

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"rillgate/zones"
)

// litresPerGallon is a US liquid gallon: 231 cubic inches of 25.4 mm (NIST Handbook 44,
// appendix C).
const litresPerGallon = 3.785411784

// Table writes the result as text: what it rests on, a line a zone, a line a day, and
// what to look at.
func (r *Result) Table(out io.Writer) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintf(w, "%s, plan %s, simulated from %s to %s\n\n", r.Name, r.Plan, r.From.Format("Mon 2 Jan 2006 15:04 MST"), r.To.Format("Mon 2 Jan 2006 15:04 MST"))
	for _, rows := range [][][]string{r.zoneRows(), r.dayRows(), r.basisRows()} {
		for _, row := range rows {
			fmt.Fprintln(w, strings.Join(row, "\t"))
		}
		fmt.Fprintln(w)
	}
	for _, line := range r.Findings() {
		fmt.Fprintln(w, "look: "+line)
	}
	for _, line := range r.Notes {
		fmt.Fprintln(w, "taken for granted: "+line)
	}
	return w.Flush()
}

// zoneRows is the table of zones, its head first.
func (r *Result) zoneRows() [][]string {
	rows := [][]string{{"ZONE", "SHOTS", r.unit(), "mL A PLANT", "DRAINED", "LOWEST", "HIGHEST", "DRY-BACK", "REFUSALS"}}
	for i := range r.Zones {
		z := &r.Zones[i]
		rows = append(rows, []string{z.ID, fmt.Sprint(len(z.Shots)), r.volume(z.Litres), z.plant(), z.drain(),
			percent(z.Known, z.Lowest), percent(z.Known, z.Highest), points(z.Known, z.DryBack), refusals(z.Refusals)})
	}
	return rows
}

// dayRows is the table of days, its head first.
func (r *Result) dayRows() [][]string {
	rows := [][]string{{"ZONE", "DAY", "SHOTS", "FIRST", "LAST", r.unit(), "LOWEST", "HIGHEST"}}
	for i := range r.Zones {
		z := &r.Zones[i]
		for k := range z.Days {
			d := &z.Days[k]
			litres := &d.Litres
			if z.Litres == nil {
				litres = nil
			}
			rows = append(rows, []string{z.ID, d.Date, fmt.Sprint(d.Shots), clock(d.First), clock(d.Last), r.volume(litres),
				percent(d.Known, d.Lowest), percent(d.Known, d.Highest)})
		}
	}
	return rows
}

// basisRows is the table of what the beds are simulated with, its head first.
func (r *Result) basisRows() [][]string {
	rows := [][]string{{"ZONE", "SIMULATED WITH", "", "FROM"}}
	for i := range r.Zones {
		for _, b := range r.Zones[i].Basis {
			rows = append(rows, []string{r.Zones[i].ID, b.What, b.Value, b.From})
		}
	}
	return rows
}

// Findings says what a person should look at, in sentences.
func (r *Result) Findings() (lines []string) {
	lines = append(lines, r.Standing...)
	for i := range r.Zones {
		lines = append(lines, r.Zones[i].findings()...)
	}
	for _, a := range r.Alarms {
		line := fmt.Sprintf("alarm %s of %s on %s: %s", a.Code, a.Subject, a.At.Format("Mon 15:04"), a.Because)
		if a.Times > 1 {
			line += fmt.Sprintf(" (%d times in all)", a.Times)
		}
		lines = append(lines, line)
	}
	return lines
}

func (z *Zone) findings() (lines []string) {
	say := func(format string, args ...any) { lines = append(lines, z.ID+" "+fmt.Sprintf(format, args...)) }
	if len(z.Shots) == 0 {
		say("gets no water in this time")
	}
	if !z.Known {
		say("has no moisture: too few of its probes count")
	}
	if z.Known && z.Dry != nil && z.Lowest < *z.Dry {
		say("falls to %.1f %%, under its dry level of %.4g %%", z.Lowest, *z.Dry)
	}
	if z.Known && z.Most != nil && z.Highest > *z.Most {
		say("rises to %.1f %%, over max_moisture of %.4g %%", z.Highest, *z.Most)
	}
	return lines
}

func (r *Result) unit() string {
	if r.us {
		return "GALLONS"
	}
	return "LITRES"
}

func (r *Result) volume(litres *float64) string {
	if litres == nil {
		return "-"
	}
	if r.us {
		return fmt.Sprintf("%.1f", *litres/litresPerGallon)
	}
	return fmt.Sprintf("%.1f", *litres)
}

func (z *Zone) plant() string {
	if z.Litres == nil {
		return "-"
	}
	return fmt.Sprintf("%.0f", 1000**z.Litres/float64(max(z.Plants, 1)))
}

// drain is the share of the water that ran off.
func (z *Zone) drain() string {
	if z.Drained == nil || !(*z.Litres > 0) {
		return "-"
	}
	return fmt.Sprintf("%.0f %%", 100**z.Drained / *z.Litres)
}

func percent(known bool, x float64) string {
	if !known {
		return "-"
	}
	return fmt.Sprintf("%.1f %%", x)
}

func points(known bool, x float64) string {
	if !known {
		return "-"
	}
	return fmt.Sprintf("%.1f points", x)
}

func clock(t time.Time) string {
	if t.IsZero() {
		return "-"
	}
	return t.Format("15:04")
}

// refusals lists how often each reason refused, by code.
func refusals(m map[zones.Reason]int) string {
	if len(m) == 0 {
		return "none"
	}
	var parts []string
	for _, r := range slices.Sorted(maps.Keys(m)) {
		parts = append(parts, fmt.Sprintf("%s %d", r, m[r]))
	}
	return strings.Join(parts, ", ")
}
