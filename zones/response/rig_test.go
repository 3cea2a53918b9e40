package response_test

import (
	"encoding/json"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/schedule"
	"rillgate/zones"
	"rillgate/zones/response"
	"rillgate/zones/simroom"
)

// A rig is a simulated room, a plain grower who waters it by what its probes say, and
// the model that looks on. Nothing else of the daemon is there: a day is some
// milliseconds.
type rig struct {
	t    testing.TB
	plan *zones.Plan
	sim  *simroom.Room
	m    *response.Model
	seq  uint32
	boot string
	up   time.Duration // uptime of the controller at 0
	beds map[string]*bedRig
	lit  bool

	told []response.Finding // everything found, each once
}

// bedRig is what the grower knows of one zone.
type bedRig struct {
	zone   *zones.Zone
	habit  habit
	probes []string
	last   map[string]float64
	heard  map[string]time.Duration
	series bool
	high   float64
	rested time.Duration
	shots  int
	opened []time.Duration
	long   []time.Duration
}

// habit is how a zone is watered: by day, a series from Low to Stop in shots of Shot %
// of the volume from From on, then shots of Day % after a fall of Back points until
// Until. Times are of the day.
type habit struct {
	Low, Stop, Shot, Back, Day float64
	From, Noon, Until          time.Duration
	Rest                       time.Duration
}

var plainHabit = habit{Low: 49, Stop: 55, Shot: 3, Back: 3, Day: 2, From: 7 * time.Hour, Noon: 10 * time.Hour, Until: 16 * time.Hour, Rest: 15 * time.Minute}

// rigPlan has n zones of 48 plants in 6.5 L of coir with two emitters of 2 L/h.
func rigPlan(n, probes int) *zones.Plan {
	p := &zones.Plan{
		Room: "bay", Lease: 30 * time.Second,
		Calendar: schedule.Calendar{
			Location: time.UTC,
			Days:     []schedule.Day{{On: 6 * time.Hour, Off: 18 * time.Hour}},
		},
		Controllers: []zones.Controller{{ID: "north"}},
		Supplies:    []zones.Supply{{ID: "feed", MaxOpen: 1}},
	}
	for i := 1; i <= n; i++ {
		id := "z" + strconv.Itoa(i)
		p.Valves = append(p.Valves, zones.Valve{ID: id, Output: zones.Output{Controller: "north", Number: i}, Supply: "feed"})
		p.Zones = append(p.Zones, zones.Zone{
			ID: id, Valves: []string{id}, Plants: 48, VolumeML: 6500, EmittersEach: 2, EmitterLPH: 2, Substrate: "coir",
		})
		for k := 0; k < probes; k++ {
			p.Probes = append(p.Probes, zones.Probe{
				ID: id + "-" + strconv.Itoa(k), Zone: id,
				Place: zones.Place{Controller: "north", Terminal: i, Address: strconv.Itoa(k)},
			})
		}
	}
	return p
}

func modelZones(p *zones.Plan) (out []response.Zone) {
	for i := range p.Zones {
		z := &p.Zones[i]
		m := response.Zone{ID: z.ID, Plants: z.Plants, VolumeML: z.VolumeML, FlowLPH: z.FlowLPH()}
		for _, x := range p.Probes {
			if x.Zone == z.ID {
				m.Probes = append(m.Probes, x.ID)
			}
		}
		out = append(out, m)
	}
	return out
}

// newRig starts at midnight. Controllers report seldom, since nobody listens.
func newRig(t testing.TB, p *zones.Plan, o simroom.Options, habits ...habit) *rig {
	o.Start = time.Date(2027, time.March, 1, 0, 0, 0, 0, time.UTC)
	o.ReportPeriod, o.InputPeriod, o.Uptime, o.CrystalPPM = 24*time.Hour, 24*time.Hour, time.Hour, -1
	sim, err := simroom.New(p, o)
	require.NoError(t, err)
	r := &rig{t: t, plan: p, sim: sim, m: response.New(modelZones(p)), up: time.Hour, beds: map[string]*bedRig{}}
	for i := range p.Zones {
		z := &p.Zones[i]
		h := plainHabit
		if i < len(habits) {
			h = habits[i]
		}
		b := &bedRig{zone: z, habit: h, last: map[string]float64{}, heard: map[string]time.Duration{}}
		for _, x := range p.Probes {
			if x.Zone == z.ID {
				b.probes = append(b.probes, x.ID)
			}
		}
		r.beds[z.ID] = b
	}
	r.m.Lights(0, false)
	r.hear(r.sim.Advance(0))
	require.NotEmpty(t, r.boot)
	return r
}

func (r *rig) now() time.Duration { return r.sim.Now() }

func (r *rig) hear(outs []simroom.Out) {
	for _, o := range outs {
		switch e := o.Event.(type) {
		case *zones.Report:
			r.boot = e.Boot
		case *zones.Reading:
			i := slices.IndexFunc(r.plan.Probes, func(p zones.Probe) bool { return p.Place == e.Place })
			p := &r.plan.Probes[i]
			b := r.beds[p.Zone]
			b.last[p.ID], b.heard[p.ID] = e.Moisture.Float(), o.At
			r.m.Sample(response.Sample{Probe: p.ID, At: o.At, Moisture: e.Moisture.Float()})
		}
	}
}

// moisture is the median of the probes heard lately that show something plausible.
func (r *rig) moisture(b *bedRig) (float64, bool) {
	var v []float64
	for _, id := range b.probes {
		if x, ok := b.last[id]; ok && r.now()-b.heard[id] < 5*time.Minute && x > 10 {
			v = append(v, x)
		}
	}
	if len(v) == 0 {
		return 0, false
	}
	slices.Sort(v)
	return (v[(len(v)-1)/2] + v[len(v)/2]) / 2, true
}

// to lets the room go on until an age, minute by minute.
func (r *rig) to(end time.Duration) *rig {
	for r.now() < end {
		r.hear(r.sim.Advance(min(r.now()+time.Minute, end)))
		if lit := r.sim.LightsOn(); lit != r.lit {
			r.lit = lit
			r.m.Lights(r.now(), lit)
		}
		for i := range r.plan.Zones {
			r.look(r.beds[r.plan.Zones[i].ID])
		}
		r.m.Advance(r.now())
		r.note()
	}
	return r
}

func (r *rig) look(b *bedRig) {
	if long := r.wants(b); long > 0 {
		r.shot(b, long)
	}
}

// wants gives the length of the shot that is due, 0 when none is.
func (r *rig) wants(b *bedRig) time.Duration {
	x, ok := r.moisture(b)
	if !ok {
		return 0
	}
	b.high = max(b.high, x)
	clock, h := r.now()%(24*time.Hour), b.habit
	if r.now() < b.rested {
		return 0
	}
	percent := 0.0
	switch {
	case clock >= h.From && clock < h.Noon:
		if b.series = x < h.Stop && (b.series || x < h.Low); b.series {
			percent = h.Shot
		}
	case clock >= h.Noon && clock < h.Until && b.high-x >= h.Back:
		percent = h.Day
	}
	if percent == 0 {
		return 0
	}
	long, ok := b.zone.RunTime(schedule.Shot{Kind: schedule.ByPercent, Value: percent})
	require.True(r.t, ok)
	return long
}

// shot waters a zone and lets that time pass.
func (r *rig) shot(b *bedRig, long time.Duration) {
	opened := r.now()
	out := r.plan.Valves[slices.IndexFunc(r.plan.Valves, func(v zones.Valve) bool { return v.ID == b.zone.Valves[0] })].Output
	r.command(out, long)
	r.m.Opened(b.zone.ID, opened)
	for left := long; left > 0; left -= time.Minute {
		r.hear(r.sim.Advance(r.now() + min(left, time.Minute)))
	}
	r.command(out, 0)
	r.m.Ran(response.Run{Zone: b.zone.ID, Opened: opened, Closed: r.now(), Litres: b.zone.FlowLPH() * long.Hours()})
	b.high, _ = r.moisture(b)
	b.rested = r.now() + b.habit.Rest
	b.shots++
	b.opened = append(b.opened, opened)
	b.long = append(b.long, long)
}

func (r *rig) command(out zones.Output, long time.Duration) {
	r.seq++
	c := &zones.Command{Output: out, Epoch: 1, Seq: r.seq, Run: strconv.Itoa(int(r.seq+1) / 2), Open: long > 0}
	if c.Open {
		c.Boot, c.UntilMS = r.boot, (r.up + r.now() + long).Milliseconds()
	}
	require.Equal(r.t, simroom.Acted, r.sim.Command(c))
}

// note keeps every finding that is new.
func (r *rig) note() {
	for _, f := range r.m.Findings() {
		if !slices.ContainsFunc(r.told, func(o response.Finding) bool {
			return o.Code == f.Code && o.Zone == f.Zone && o.Probe == f.Probe && o.Other == f.Other && o.Found == f.Found
		}) {
			r.told = append(r.told, f)
		}
	}
}

func (r *rig) learned(zone string) response.Learned {
	l, ok := r.m.Learned(zone)
	require.True(r.t, ok)
	return l
}

func (r *rig) inject(f simroom.Fault) { require.NoError(r.t, r.sim.Inject(f)) }

// again puts the model through its JSON.
func (r *rig) again() {
	text, err := json.Marshal(r.m)
	require.NoError(r.t, err)
	m := &response.Model{}
	require.NoError(r.t, json.Unmarshal(text, m))
	r.m = m
}
