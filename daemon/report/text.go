package report

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
)

// Text writes the report for a terminal: a table a day, and under it what does not fit
// into one.
func (r *Report) Text(out io.Writer) error {
	w := r.writing()
	for i := range r.Days {
		d := &r.Days[i]
		if i > 0 {
			fmt.Fprintln(out)
		}
		fmt.Fprintf(out, "%s, %s, times in %s%s\n", r.Room, w.title(d), r.TimeZone, w.soFar(r, d))
		if err := w.table(out, d); err != nil {
			return err
		}
		for k := range d.Zones {
			w.details(out, d, &d.Zones[k])
		}
		for k := range d.Alarms {
			fmt.Fprintf(out, "room: alarm: %s\n", w.alarm(&d.Alarms[k], d))
		}
	}
	return nil
}

func (w writing) soFar(r *Report, d *Day) string {
	if !d.SoFar {
		return ""
	}
	return ", so far: until " + w.clock(&r.Made)
}

func (w writing) table(out io.Writer, d *Day) error {
	t := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "ZONE\tSHOTS\tFIRST\tLAST\tWATER\tA PLANT\tPEAK\tFLOOR\tDRY-BACK\tOVER MAX\tPORE EC")
	for i := range d.Zones {
		z := &d.Zones[i]
		fmt.Fprintf(t, "%s\t%d\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", z.Zone, z.Shots, w.clock(z.FirstShot), w.clock(z.LastShot),
			w.water(z.Litres), millilitres(z.MLPlant), w.extreme(z.Peak), w.extreme(z.Floor), z.DryBack.words(), z.overMax(), z.PoreEC.words())
	}
	return t.Flush()
}

// details are the lines under the table.
func (w writing) details(out io.Writer, d *Day, z *ZoneDay) {
	for _, l := range w.facts(d, z) {
		fmt.Fprintf(out, "%s: %s: %s\n", z.Zone, l.Name, l.Value)
	}
}

// fact is one line about a zone's day.
type fact struct{ Name, Value string }

// facts are what does not fit into the table, in their order; what is not there is left
// out.
func (w writing) facts(d *Day, z *ZoneDay) (out []fact) {
	add := func(name, value string) {
		if value != "" && value != none {
			out = append(out, fact{name, value})
		}
	}
	windows := make([]string, len(z.Windows))
	for i := range z.Windows {
		windows[i] = w.window(&z.Windows[i])
	}
	add("shots by window", strings.Join(windows, "; "))
	add("runs without an end", z.endless())
	add("moisture known", z.known())
	if b := z.DryBack; b != nil {
		add("dry-back", fmt.Sprintf("from %.1f %% at %s to %.1f %% at %s", b.Peak.Value, w.since(b.Peak.At, d), b.Low.Value, w.since(b.Low.At, d)))
	}
	add("uptake by day", z.UptakeDay.words())
	add("uptake by night", z.UptakeNight.words())
	add("refused", countWords(z.Refusals))
	add("cut short", countWords(z.CutShort))
	for i := range z.Alarms {
		add("alarm", w.alarm(&z.Alarms[i], d))
	}
	for i := range z.Drains {
		add("drain at "+w.clock(&z.Drains[i].At), z.Drains[i].Words())
	}
	if u := z.Uniformity; u != nil {
		text := u.Words() + ", measured " + u.At.In(w.loc).Format("2006-01-02")
		if u.DriestML != nil {
			text += fmt.Sprintf("; by that the lowest quarter got %.0f mL a plant", *u.DriestML)
		}
		add("estimated uniformity", text)
	}
	return out
}
