package preview

import (
	"time"

	"rillgate/zones"
)

// Result is what the schedule did in the simulated room.
type Result struct {
	Room     string    `json:"room"`
	Name     string    `json:"name"`
	Plan     string    `json:"plan"`
	From     time.Time `json:"from"` // in the room's zone
	To       time.Time `json:"to"`
	Zones    []Zone    `json:"zones"`
	Alarms   []Alarm   `json:"alarms"`   // that would be raised
	Standing []string  `json:"standing"` // in the true room and not in this one
	Notes    []string  `json:"notes"`    // what holds for all of it

	us bool
}

// Zone is what one zone did. Moistures are %, differences points, litres the zone's.
type Zone struct {
	ID       string               `json:"id"`
	Name     string               `json:"name"`
	Plants   int                  `json:"plants"`
	Probes   int                  `json:"probes"` // 0 = its moisture is the simulated bed's own
	Known    bool                 `json:"moisture_known"`
	Lowest   float64              `json:"lowest"`
	Highest  float64              `json:"highest"`
	DryBack  float64              `json:"dry_back"`
	Seconds  float64              `json:"seconds"`
	Litres   *float64             `json:"litres"`  // nil = the files name no emitters
	Drained  *float64             `json:"drained"` // L that ran off; nil as litres
	Refusals map[zones.Reason]int `json:"refusals"`
	Basis    []Basis              `json:"basis"`
	Days     []Day                `json:"days"`
	Shots    []Shot               `json:"shots"`
	Points   []Point              `json:"points"` // one a minute
	Levels   []Levels             `json:"levels"`
	Most     *float64             `json:"max_moisture"`
	Dry      *float64             `json:"dry_level"`
}

// Day is one day of the room's calendar, as far as it is shown.
type Day struct {
	Date    string    `json:"date"`
	Shots   int       `json:"shots"`
	First   time.Time `json:"first"` // zero = none
	Last    time.Time `json:"last"`
	Litres  float64   `json:"litres"`
	Known   bool      `json:"moisture_known"`
	Lowest  float64   `json:"lowest"`
	Highest float64   `json:"highest"`
}

// Shot is one run of a zone.
type Shot struct {
	Start   time.Time    `json:"start"`
	End     time.Time    `json:"end"`
	Window  string       `json:"window"`
	Opened  zones.Reason `json:"opened"`
	Closed  zones.Reason `json:"closed"`
	Seconds float64      `json:"seconds"`
	Litres  float64      `json:"litres"` // 0 = not known
}

// Point is a zone's moisture at a minute.
type Point struct {
	At      time.Time `json:"at"`
	Percent float64   `json:"percent"`
	Known   bool      `json:"known"`
}

// Levels are those that a window went by, %.
type Levels struct {
	Window string   `json:"window"`
	Below  *float64 `json:"below"` // or the floor of a dry-back
	StopAt *float64 `json:"stop_at"`
}

// Alarm is one that would be raised.
type Alarm struct {
	At      time.Time    `json:"at"` // first; before From where it stood then
	Code    zones.Reason `json:"code"`
	Subject string       `json:"subject"`
	Because string       `json:"because"`
	Times   int          `json:"times"`
}

// notes hold for every preview.
var notes = [...]string{
	"nothing goes wrong: all valves, emitters, probes and supplies work and agree, nobody orders or holds anything, no latch stands",
	"all plants of a zone are alike; the crop drinks on every day as on the first",
}

func (w *world) result() *Result {
	r := &Result{Room: w.plan.Room, Name: w.plan.Name, Plan: w.plan.Hash, From: w.wall(w.from), To: w.wall(w.to),
		Alarms: w.alarms, Standing: w.o.Standing, Notes: notes[:], us: w.plan.US}
	for i := range w.alarms {
		w.alarms[i].At = w.alarms[i].At.In(w.place())
	}
	for i := range w.plan.Zones {
		z := &w.plan.Zones[i]
		r.Zones = append(r.Zones, w.books[z.ID].zone(z, w.place()))
	}
	return r
}

func (w *world) place() *time.Location { return w.plan.Location() }

func (w *world) wall(t time.Duration) time.Time { return w.sim.Wall(t).In(w.place()) }

func (b *book) zone(z *zones.Zone, place *time.Location) Zone {
	out := Zone{ID: z.ID, Name: z.Name, Plants: z.Plants, Probes: b.probes, Known: b.some, Lowest: b.low, Highest: b.high,
		DryBack: b.dryBack, Refusals: b.refusals(), Basis: b.bed.basis, Shots: b.shots, Points: b.points, Most: b.view.MaxMoisture, Dry: b.view.DryLevel}
	litres := 0.0
	for i := range b.shots {
		s := &b.shots[i]
		s.Start, s.End = s.Start.In(place), s.End.In(place)
		out.Seconds += s.Seconds
		litres += s.Litres
	}
	if z.FlowLPH() > 0 {
		drained := b.truth.Drained - b.before.Drained
		out.Litres, out.Drained = &litres, &drained
	}
	for _, name := range b.windows {
		out.Levels = append(out.Levels, b.levels[name])
	}
	for i := range b.points {
		b.points[i].At = b.points[i].At.In(place)
	}
	out.Days = days(b.points[:max(len(b.points)-1, 0)], b.shots) // the last point is the end
	return out
}

// days sorts points and shots into the days of the calendar.
func days(points []Point, shots []Shot) (all []Day) {
	at := map[string]int{}
	for i := range points {
		p := &points[i]
		date := p.At.Format(time.DateOnly)
		k, ok := at[date]
		if !ok {
			k = len(all)
			at[date] = k
			all = append(all, Day{Date: date})
		}
		all[k].take(p)
	}
	for i := range shots {
		if k, ok := at[shots[i].Start.Format(time.DateOnly)]; ok {
			all[k].shot(&shots[i])
		}
	}
	return all
}

func (d *Day) take(p *Point) {
	if !p.Known {
		return
	}
	if !d.Known {
		d.Known, d.Lowest, d.Highest = true, p.Percent, p.Percent
	}
	d.Lowest, d.Highest = min(d.Lowest, p.Percent), max(d.Highest, p.Percent)
}

func (d *Day) shot(s *Shot) {
	if d.Shots == 0 {
		d.First = s.Start
	}
	d.Shots++
	d.Last = s.Start
	d.Litres += s.Litres
}
