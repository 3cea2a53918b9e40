package report

import (
	"fmt"
	"strings"
	"time"

	"rillgate/zones/substrate"
)

const none = "-"

// writing says how numbers and times are shown.
type writing struct {
	loc *time.Location
	us  bool
}

func (r *Report) writing() writing {
	loc, err := time.LoadLocation(r.TimeZone)
	if err != nil {
		loc = time.UTC // a report that came from elsewhere; its times are shown in UTC
	}
	return writing{loc: loc, us: r.US}
}

func (w writing) clock(t *time.Time) string {
	if t == nil {
		return none
	}
	return t.In(w.loc).Format("15:04")
}

// since gives a time with its date where that is another day's.
func (w writing) since(t time.Time, d *Day) string {
	if d.holds(t) {
		return w.clock(&t)
	}
	return t.In(w.loc).Format("2 Jan 15:04")
}

func (w writing) water(litres float64) string {
	if w.us {
		return fmt.Sprintf("%.1f gal", litres/substrate.LitresPerUSGallon)
	}
	return fmt.Sprintf("%.1f L", litres)
}

func millilitres(v *float64) string {
	if v == nil {
		return none
	}
	return fmt.Sprintf("%.0f mL", *v)
}

func (w writing) extreme(e *Extreme) string {
	if e == nil {
		return none
	}
	return fmt.Sprintf("%.1f %% at %s", e.Value, w.clock(&e.At))
}

func (d *DryBack) words() string {
	if d == nil {
		return none
	}
	return fmt.Sprintf("%.1f points, %.1f %% of the peak", d.Points, d.Relative)
}

func (z *ZoneDay) overMax() string {
	switch {
	case z.MaxMoisture == nil:
		return none
	case z.OverMax == nil:
		return "not known"
	}
	return minutes(*z.OverMax)
}

// minutes writes a number of minutes.
func minutes(m float64) string {
	if m < 60 {
		return fmt.Sprintf("%.0f min", m)
	}
	return fmt.Sprintf("%d h %02d min", int(m)/60, int(m)%60)
}

func (r *Range) words() string {
	if r == nil {
		return none
	}
	return fmt.Sprintf("%.1f to %.1f mS/cm", r.Least, r.Greatest)
}

func (u *Uptake) words() string {
	if u == nil {
		return none
	}
	text := fmt.Sprintf("%.2f points/h", u.PointsPerHour)
	if u.MLPerPlantHour != nil {
		text += fmt.Sprintf(", %.0f mL a plant and hour", *u.MLPerPlantHour)
	}
	if u.Learned {
		return text + " (as learned)"
	}
	return text + fmt.Sprintf(" (over %.1f h)", u.Hours)
}

func (w writing) window(s *WindowShots) string {
	return fmt.Sprintf("%s %s, %s", s.Window, plural(s.Shots, "shot"), w.water(s.Litres))
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func countWords(list []Count) string {
	parts := make([]string, len(list))
	for i, c := range list {
		parts[i] = fmt.Sprintf("%s %d", c.Reason, c.Count)
	}
	return strings.Join(parts, ", ")
}

func (w writing) alarm(a *Alarm, d *Day) string {
	text := fmt.Sprintf("%s from %s", a.Code, w.since(a.Since, d))
	if a.Over != nil {
		text += " to " + w.since(*a.Over, d)
	} else {
		text += " on"
	}
	if a.Because != "" {
		text += ": " + a.Because
	}
	return text
}

// elapsed is how much of the day has passed, to a step of the curve.
func (z *ZoneDay) elapsed() time.Duration {
	return time.Duration(len(z.Curve.Percent)*z.Curve.StepMinutes) * time.Minute
}

// knownWell is the share of the day for which moisture must be known, or it is said.
const knownWell = 0.95

// known says for how long moisture was, where that is not nearly all the time.
func (z *ZoneDay) known() string {
	if all := z.elapsed().Minutes(); z.Measured < knownWell*all {
		return minutes(z.Measured) + " of " + minutes(all)
	}
	return none
}

// endless tells of runs whose end the journal does not have.
func (z *ZoneDay) endless() string {
	n := 0
	for i := range z.Runs {
		if z.Runs[i].Closed == nil {
			n++
		}
	}
	if n == 0 {
		return none
	}
	return fmt.Sprintf("%d, open now or cut by an end of the daemon; their water is not counted", n)
}

// title names the day.
func (w writing) title(d *Day) string {
	text := d.From.In(w.loc).Format("Monday, 2006-01-02")
	if hours := d.To.Sub(d.From).Hours(); hours != 24 {
		text += fmt.Sprintf(" (a day of %g hours)", hours)
	}
	return text
}
