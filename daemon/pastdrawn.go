package daemon

import (
	"io"
	"slices"
	"time"

	"rillgate/daemon/history"
	"rillgate/daemon/page"
	"rillgate/store"
	"rillgate/zones"
)

// quantities says what of the store's series is drawn, and as what.
var quantities = map[store.Kind]page.Quantity{
	store.ProbeMoisture: page.Moisture, store.ProbeEC: page.BulkEC, store.ProbeTemperature: page.Temperature,
	store.ZoneMoisture: page.Moisture, store.ZonePoreEC: page.PoreEC, store.ZoneTemperature: page.Temperature,
}

// seriesShown names a series of the store as the page does.
func seriesShown(k store.Kind, id string) (of page.Series, ok bool) {
	of.Of, ok = quantities[k]
	if history.OfProbe(k) {
		of.Probe = id
	} else {
		of.Zone = id
	}
	return of, ok
}

// kindOf finds the store's kind for a series that is shown.
func kindOf(of page.Series) (k store.Kind, id string, ok bool) {
	for k, q := range quantities { // order: one of them matches
		if q == of.Of && history.OfProbe(k) == (of.Probe != "") {
			return k, of.Probe + of.Zone, true
		}
	}
	return 0, "", false
}

// longAgo gives the store's points of a series, and behind them those of a probe that
// wait in memory. A store that cannot be read costs the picture alone.
func (d *Daemon) longAgo(of page.Series, from, to time.Time) (out []page.Point) {
	k, id, ok := kindOf(of)
	if s := d.files.store; ok && s != nil {
		kept, _ := s.History(k, id, from, to)
		out = pointsOf(kept)
	}
	for _, p := range d.recent.unsaved(of, from, to) {
		if n := len(out); n == 0 || p.At.Sub(out[n-1].At) >= time.Minute {
			out = append(out, p)
		}
	}
	return out
}

func pointsOf(kept []store.Point) (out []page.Point) {
	for _, p := range kept {
		out = append(out, page.Point{At: p.At, Value: float64(p.Value) / 1000, Known: true})
	}
	return out
}

// earlier puts a zone's runs that the store knows before those in memory.
func (d *Daemon) earlier(zone string, recent []page.Shot, from, to time.Time) []page.Shot {
	s := d.files.store
	if s == nil {
		return recent
	}
	kept, _ := s.Runs(from, to) // marks of a picture: without them it is one
	out := []page.Shot{}
	for _, r := range kept {
		if r.Zone == zone && (len(recent) == 0 || r.Opened.Before(recent[0].Start)) {
			out = append(out, shotOf(&r, false))
		}
	}
	return append(out, recent...)
}

// shotOf is a run as it is drawn. One without an end is open, or was cut by an end of the
// program.
func shotOf(r *store.Run, mayBeOpen bool) page.Shot {
	s := page.Shot{Start: r.Opened, End: r.Closed, Opened: r.Why, Closed: r.End, Litres: r.Litres}
	if s.End.IsZero() && !mayBeOpen {
		s.End, s.Closed = s.Start, zones.AlarmUnfinishedRun
	}
	return s
}

// draw writes the picture of a zone or probe.
func (p *past) draw(ask *history.Ask, from, to time.Time, w io.Writer) error {
	series, err := p.series(ask, from, to)
	if err != nil {
		return err
	}
	drawn := &page.Past{Title: "Zone " + ask.Zone, Caption: p.plan.Name, From: from, To: to, Location: p.plan.Location(), US: p.plan.US}
	zone := ask.Zone
	if ask.Probe != "" {
		drawn.Title, zone = "Probe "+ask.Probe, p.zoneOf(ask.Probe)
	}
	for _, q := range panelsOf(ask) {
		of := page.Series{Of: q, Zone: ask.Zone, Probe: ask.Probe}
		panel := page.Panel{Of: q}
		i := slices.IndexFunc(series, func(s store.Sample) bool {
			shown, ok := seriesShown(s.Kind, s.ID)
			return ok && shown == of
		})
		if i >= 0 {
			panel.Points = pointsOf(series[i].Points)
		}
		drawn.Panels = append(drawn.Panels, panel)
	}
	if zone != "" {
		if err := p.underZone(drawn, zone); err != nil {
			return err
		}
	}
	if ask.Picture == history.AsHTML {
		return drawn.HTML(w)
	}
	return drawn.SVG(w)
}

func panelsOf(ask *history.Ask) []page.Quantity {
	if ask.Probe != "" {
		return []page.Quantity{page.Moisture, page.BulkEC, page.Temperature}
	}
	return []page.Quantity{page.Moisture, page.PoreEC, page.Temperature}
}

// zoneOf gives the zone that a probe is in now: by the plan, else by the register.
func (p *past) zoneOf(probe string) string {
	for i := range p.plan.Probes {
		if q := &p.plan.Probes[i]; q.ID == probe {
			return q.Zone
		}
	}
	met, _ := p.store.Probes() // without it the shots are missing, and the picture says so
	for i := range met {
		if met[i].ID == probe {
			return met[i].Zone
		}
	}
	return ""
}

// underZone adds what the zone was given, and its limit.
func (p *past) underZone(drawn *page.Past, zone string) error {
	runs, err := p.shots(zone, drawn.From, drawn.To)
	if err != nil {
		return err
	}
	for i := range runs {
		last := i == len(runs)-1 && p.now.Sub(runs[i].Opened) < zones.MaxRunCeiling
		drawn.Shots = append(drawn.Shots, shotOf(&runs[i], last))
	}
	for i := range p.plan.Zones {
		if z := &p.plan.Zones[i]; z.ID == zone && z.Limits.MaxMoisture > 0 {
			drawn.Panels[0].Levels = []page.Level{{Name: "highest", Short: "max", Class: "max", Percent: z.Limits.MaxMoisture.Float()}}
		}
	}
	return nil
}
