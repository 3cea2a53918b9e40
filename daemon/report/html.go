package report

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"time"

	"rillgate/daemon/page"
	"rillgate/zones"
)

//go:embed report.html
var document string

//go:embed report.css
var ownStyle string

// sheet is what the document shows.
type sheet struct {
	Title    string
	Style    template.CSS
	Room     string
	Plan     string
	TimeZone string
	Made     string
	Days     []daySheet
}

type daySheet struct {
	Title  string
	SoFar  string
	Zones  []zoneSheet
	Alarms []string
}

type zoneSheet struct {
	Zone, Name   string
	Wide, Narrow template.HTML
	Caption      string
	Numbers      []fact
	Facts        []fact
}

// HTML writes the report as one document that needs nothing else: to read on a screen of
// any width, light or dark, or to print on A4, a new page a day.
func (r *Report) HTML(out io.Writer) error {
	t, err := template.New("report").Parse(document)
	if err != nil {
		return fmt.Errorf("read the report's template: %w", err)
	}
	w := r.writing()
	s := sheet{Title: r.Room + ": report", Style: page.Style() + template.CSS(ownStyle), Room: r.Name, Plan: r.Plan, TimeZone: r.TimeZone,
		Made: r.Made.In(w.loc).Format("2006-01-02 15:04")}
	if s.Room == "" {
		s.Room = r.Room
	}
	for i := range r.Days {
		s.Days = append(s.Days, w.day(r, &r.Days[i]))
	}
	if err := t.Execute(out, &s); err != nil {
		return fmt.Errorf("write the report: %w", err)
	}
	return nil
}

func (w writing) day(r *Report, d *Day) daySheet {
	s := daySheet{Title: w.title(d)}
	if d.SoFar {
		s.SoFar = "so far, until " + w.clock(&r.Made)
	}
	for i := range d.Zones {
		s.Zones = append(s.Zones, w.zone(r, d, &d.Zones[i]))
	}
	for i := range d.Alarms {
		s.Alarms = append(s.Alarms, w.alarm(&d.Alarms[i], d))
	}
	return s
}

func (w writing) zone(r *Report, d *Day, z *ZoneDay) zoneSheet {
	p := w.picture(d, z)
	s := zoneSheet{Zone: z.Zone, Name: z.Name, Wide: p.Wide(), Narrow: p.Narrow(), Facts: w.facts(d, z)}
	s.Caption = "Moisture (line) and shots (marks under it)"
	if z.Measured == 0 {
		s.Caption = "No moisture was known on this day; shots are the marks under the picture"
	}
	s.Numbers = []fact{
		{"Shots", fmt.Sprint(z.Shots)}, {"First and last", w.clock(z.FirstShot) + ", " + w.clock(z.LastShot)},
		{"Water", w.water(z.Litres)}, {"A plant", millilitres(z.MLPlant)},
		{"Peak", w.extreme(z.Peak)}, {"Floor", w.extreme(z.Floor)},
		{"Dry-back", z.DryBack.words()}, {"Over the limit", z.overMax()}, {"Pore EC", z.PoreEC.words()},
	}
	return s
}

// openUntil gives the end of a run that has none in the journal: now where it may be open
// still, else its begin, for its end was never told.
func (z *ZoneDay) openUntil(r *Run, d *Day) time.Time {
	now := d.From.Add(z.elapsed())
	if d.SoFar && now.After(r.Opened) && now.Sub(r.Opened) <= zones.MaxRunCeiling {
		return now
	}
	return r.Opened
}

// limitNear is how far above the peak the limit may be to be drawn, points: one farther
// off would press the curve flat.
const limitNear = 8

// picture draws the day's curve and runs.
func (w writing) picture(d *Day, z *ZoneDay) *page.Picture {
	p := &page.Picture{Title: "Moisture and shots of " + z.Zone + " on " + d.Date, From: d.From, To: d.To, Location: w.loc, US: w.us}
	step := time.Duration(z.Curve.StepMinutes) * time.Minute
	for i, v := range z.Curve.Percent {
		point := page.Point{At: d.From.Add(time.Duration(i) * step).Add(step / 2), Known: v != nil}
		if v != nil {
			point.Value = *v
		}
		p.Points = append(p.Points, point)
	}
	for _, r := range z.Runs {
		shot := page.Shot{Start: r.Opened, Opened: r.Reason, Closed: r.End, Litres: r.Litres}
		switch {
		case r.Closed == nil:
			shot.End = z.openUntil(&r, d)
		case r.Closed != nil && r.Seconds == 0:
			continue // it never opened
		case r.Closed != nil:
			shot.End = *r.Closed
		}
		p.Shots = append(p.Shots, shot)
	}
	if z.MaxMoisture != nil && z.Peak != nil && *z.MaxMoisture <= z.Peak.Value+limitNear {
		p.Levels = []page.Level{{Name: "highest", Short: "max", Class: "max", Percent: *z.MaxMoisture}}
	}
	return p
}
