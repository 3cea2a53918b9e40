package daemon

import (
	"encoding/json"
	"math"
	"time"

	"rillgate/store"
	"rillgate/zones"
	"rillgate/zones/response"
)

// teacher keeps what the zones of the room have taught (package response): it takes
// each minute's readings and each run, tells the room what was learned, and raises
// what it finds as alarms. It decides nothing about water. All of it is the loop's.
type teacher struct {
	model *response.Model
	told  map[string]zones.Taught
	found map[response.Finding]bool // by code, zone, probe alone
	saved time.Duration             // age at which the store had it last
}

// learnedPaper is the model's place in the store.
const (
	learnedPaper = "learned"
	learnedEvery = time.Hour
)

// sureField is how sure a field level must be before it stands in for `stop_at`.
const (
	sureFieldHalf  = 2.0 // points, half-width at 95 %
	sureFieldShots = 5
)

// newTeacher goes on from what the store has; a state that cannot be read is begun
// anew.
func newTeacher(plan *zones.Plan, kept []store.Paper) (*teacher, error) {
	t := &teacher{model: response.New(pupils(plan)), told: map[string]zones.Taught{}, found: map[response.Finding]bool{}}
	for _, p := range kept {
		if p.Key != plan.Room {
			continue
		}
		if err := json.Unmarshal(p.Body, t.model); err != nil {
			return t, err
		}
		t.model.Fit(pupils(plan))
	}
	return t, nil
}

// pupils are the zones of a plan as the model knows them.
func pupils(p *zones.Plan) (out []response.Zone) {
	for i := range p.Zones {
		z := &p.Zones[i]
		one := response.Zone{ID: z.ID, Name: z.ID, Plants: max(z.Plants, 1), VolumeML: z.VolumeML, FlowLPH: z.FlowLPH()}
		for k := range p.Probes {
			if p.Probes[k].Zone == z.ID && len(one.Probes) < 64 {
				one.Probes = append(one.Probes, p.Probes[k].ID)
			}
		}
		out = append(out, one)
	}
	return out
}

// fit puts another plan in force.
func (t *teacher) fit(p *zones.Plan) {
	if t == nil {
		return
	}
	t.model.Fit(pupils(p))
	t.told = map[string]zones.Taught{}
}

// another begins anew with a probe that was exchanged.
func (t *teacher) another(probe string) {
	if t != nil {
		t.model.Begin(probe)
	}
}

// minute takes a minute's look. It gives what is to be told to the room.
func (t *teacher) minute(v *zones.View) (news []zones.Taught) {
	age := time.Duration(v.Age * float64(time.Second))
	if v.LightsOn != nil {
		t.model.Lights(age, *v.LightsOn)
	}
	for i := range v.Probes {
		p := &v.Probes[i]
		if p.Moisture == nil || p.AgeSeconds == nil || *p.AgeSeconds > int(freshWithin/time.Second) || p.Quality == zones.ProbeIgnored {
			continue
		}
		t.model.Sample(response.Sample{Probe: p.ID, At: age - time.Duration(*p.AgeSeconds)*time.Second, Moisture: *p.Moisture})
	}
	t.model.Advance(age)
	for i := range v.Zones {
		if n, ok := t.news(v.Zones[i].ID); ok {
			news = append(news, n)
		}
	}
	return news
}

// news gives what a zone has taught when it differs by more than a hundredth from what
// the room was told.
func (t *teacher) news(zone string) (zones.Taught, bool) {
	l, ok := t.model.Learned(zone)
	if !ok {
		return zones.Taught{}, false
	}
	n := TaughtOf(&l)
	old, told := t.told[zone]
	if told && abs(n.Field-old.Field) <= 100 && near(n.Day, old.Day) && near(n.Night, old.Night) &&
		math.Abs(n.At-old.At) <= sameAt && math.Abs(n.Slope.Value-old.Slope.Value) <= sameSlope && n.Slope.Known() == old.Slope.Known() {
		return n, false
	}
	if !told && n.Field == 0 && !n.Day.Known() && !n.Night.Known() {
		return n, false
	}
	t.told[zone] = n
	return n, true
}

// Differences that change a time to dry by a hundredth at most, six points on.
const (
	sameAt    = 0.5   // points
	sameSlope = 0.003 // share a point
)

func abs(l zones.Level) zones.Level { return max(l, -l) }

func near(a, b response.Number) bool {
	const part = 0.01
	close := func(x, y float64) bool { return math.Abs(x-y) <= part*max(math.Abs(x), math.Abs(y)) }
	return a.Known() == b.Known() && close(a.Value, b.Value) && close(a.HalfWidth, b.HalfWidth)
}

// entry takes the begin and the end of a run from the journal.
func (t *teacher) entry(age time.Duration, e *zones.Entry) {
	switch {
	case e.Kind == "run-opened":
		t.model.Opened(e.Zone, age)
	case e.Kind == "run-closed" && e.Seconds > 0:
		open := time.Duration(e.Seconds * float64(time.Second))
		t.model.Ran(response.Run{Zone: e.Zone, Opened: age - open, Closed: age, Litres: e.Litres})
	}
}

// show puts what was learned into a look at the room.
func (t *teacher) show(v *zones.View) {
	if t == nil {
		return
	}
	for i := range v.Zones {
		if l, ok := t.model.Learned(v.Zones[i].ID); ok {
			v.Zones[i].Learned = &l
		}
	}
}

// finding names a finding without its evidence, which changes.
func finding(f *response.Finding) response.Finding {
	return response.Finding{Code: f.Code, Zone: f.Zone, Probe: f.Probe}
}

// paper gives what the store is to keep, once an hour and at the end.
func (t *teacher) paper(room string, age time.Duration, now time.Time, last bool) []store.Paper {
	if t == nil || !last && age-t.saved < learnedEvery {
		return nil
	}
	body, err := json.Marshal(t.model)
	if err != nil {
		return nil
	}
	t.saved = age
	return []store.Paper{{Kind: learnedPaper, Key: room, At: now, Body: body}}
}

// goToSchool takes up what was learned before, and tells the room.
func (d *Daemon) goToSchool() {
	var kept []store.Paper
	if d.files.store != nil {
		var err error
		if kept, err = d.files.store.Papers(learnedPaper); err != nil {
			d.o.Log.Warn("read what the zones have taught", "error", err)
		}
	}
	t, err := newTeacher(d.choice.plan, kept)
	if err != nil {
		d.o.Log.Warn("what the zones have taught is begun anew", "error", err)
	}
	d.teacher, t.saved = t, d.room.Age(d.now)
	for i := range d.choice.plan.Zones {
		if n, ok := t.news(d.choice.plan.Zones[i].ID); ok {
			d.step(&n)
		}
	}
}

// learn is the minute's part of the loop.
func (d *Daemon) learn(v *zones.View) {
	if d.teacher == nil {
		return
	}
	for _, n := range d.teacher.minute(v) {
		d.step(&n)
	}
	now := map[response.Finding]bool{}
	for _, f := range d.teacher.model.Findings() {
		now[finding(&f)] = true
		d.trouble(zones.Reason(f.Code), f.Subject(), f.Because)
	}
	for f := range d.teacher.found {
		if !now[f] {
			d.over(zones.Reason(f.Code), f.Subject())
		}
	}
	d.teacher.found = now
}
