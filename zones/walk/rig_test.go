package walk_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"rillgate/schedule"
	"rillgate/zones"
	"rillgate/zones/simroom"
	"rillgate/zones/walk"

	"github.com/stretchr/testify/require"
)

// roomPlan has n zones of `valves` valves and `probes` probes each, on one controller and
// one supply, without any window.
func roomPlan(n, valves, probes int) *zones.Plan {
	p := &zones.Plan{
		Hash: "0000", Room: "bay", Lease: 30 * time.Second,
		Calendar:    schedule.Calendar{Location: time.UTC, Days: []schedule.Day{{On: 6 * time.Hour, Off: 18 * time.Hour}}},
		Controllers: []zones.Controller{{ID: "north"}},
		Supplies:    []zones.Supply{{ID: "feed", MaxOpen: 2}},
	}
	output := 0
	for i := range n {
		id := fmt.Sprintf("z%d", i+1)
		z := zones.Zone{
			ID: id, Plants: 24, VolumeML: 6500, EmittersEach: 2, EmitterLPH: 2, Substrate: "coir", RequireWalk: true,
			Moisture: zones.Moisture{Combine: zones.Median, Quorum: 1, StaleAfter: 10 * time.Minute, PlausibleLo: 2000, PlausibleHi: 95000},
			Limits:   zones.Limits{MaxRun: 6 * time.Minute, MinRest: 5 * time.Minute, MaxPerDay: time.Hour, MaxMoisture: 70000},
			Schedule: schedule.Zone{Named: true},
		}
		for k := range valves {
			output++
			v := zones.Valve{ID: fmt.Sprintf("%s-v%d", id, k), Output: zones.Output{Controller: "north", Number: output}, Supply: "feed"}
			p.Valves = append(p.Valves, v)
			z.Valves = append(z.Valves, v.ID)
		}
		p.Zones = append(p.Zones, z)
		for k := range probes {
			p.Probes = append(p.Probes, zones.Probe{ID: fmt.Sprintf("%s-p%d", id, k), Zone: id, Place: zones.Place{Controller: "north", Terminal: i + 1, Address: string(rune('0' + k))}})
		}
	}
	return p
}

// room is the core over a simulated room, and a walk of it.
type room struct {
	t    testing.TB
	sim  *simroom.Room
	core *zones.Room
	walk *walk.Walk
	todo []zones.Event
	back *zones.Answer
	seen func(ev zones.Event, effects []zones.Effect)
	n    int
}

func newRoom(t testing.TB, p *zones.Plan, o simroom.Options) *room {
	sim, err := simroom.New(p, o)
	require.NoError(t, err)
	x := &room{t: t, sim: sim, todo: []zones.Event{&zones.BrokerLink{Up: true}}}
	core, effects := zones.NewRoom(p, zones.NewMemory(), x.now())
	x.core = core
	x.act(effects)
	x.until(3 * time.Minute)
	return x
}

func (x *room) now() zones.Instant {
	return zones.Instant{Wall: x.sim.Wall(x.sim.Now()), Mono: x.sim.Now(), Trusted: true}
}

func (x *room) step(ev zones.Event) {
	effects := x.core.Step(x.now(), ev)
	if x.walk != nil {
		x.walk.Saw(ev, effects)
	}
	if x.seen != nil {
		x.seen(ev, effects)
	}
	x.act(effects)
}

func (x *room) act(effects []zones.Effect) {
	for _, e := range effects {
		switch e := e.(type) {
		case *zones.Record:
			x.todo = append(x.todo, &zones.Recorded{Seq: e.Seq})
		case *zones.Command:
			x.sim.Command(e)
		case *zones.Answer:
			x.back = e
		case *zones.Breach:
			x.t.Fatalf("breach: %s %s", e.Invariant, e.Detail)
		}
	}
}

func (x *room) until(end time.Duration) {
	for x.sim.Now() < end {
		for len(x.todo) > 0 {
			ev := x.todo[0]
			x.todo = x.todo[1:]
			x.step(ev)
		}
		outs := x.sim.Advance(min(end, x.sim.Next(), max(x.sim.Now()+time.Second, x.core.Next())))
		x.todo = append(x.todo, &zones.Tick{})
		for _, o := range outs {
			x.todo = append(x.todo, o.Event)
		}
	}
}

// look gives the walk a look, and the room the walk's orders.
func (x *room) look() {
	v := x.core.View(x.now())
	x.walk.Look(&v)
	for o := x.walk.Order(); o != nil; o = x.walk.Order() {
		x.n++
		o.ID, o.Source = fmt.Sprintf("w-%d", x.n), "socket"
		x.back = nil
		x.step(o)
		require.NotNil(x.t, x.back)
		x.walk.Answer(x.back)
	}
}

// begin begins a walk of the whole room.
func (x *room) begin(p *zones.Plan, ask walk.Ask) {
	v := x.core.View(x.now())
	w, err := walk.New(p, &v, ask)
	require.NoError(x.t, err)
	x.walk = w
}

// run walks until it is over, or a limit.
func (x *room) run(limit time.Duration) *walk.Result {
	for end := x.sim.Now() + limit; !x.walk.Done() && x.sim.Now() < end; {
		x.look()
		x.until(x.sim.Now() + 4*time.Second)
	}
	require.True(x.t, x.walk.Done(), "the walk did not end: %v", x.walk.News())
	return x.walk.Result()
}

// drawn is a room with at most one kind of mistake.
type drawn struct {
	plan    *zones.Plan
	options simroom.Options
	mistake string
	zones   map[string]bool // that must not be called good
	valves  map[string]bool // nor these
	slow    bool
}

func normalised(d *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*d.Float64() }

// draw makes a room: beds that answer slowly, noise, unlike emitters, and a mistake.
func draw(seed uint64, mistakes []string) *drawn {
	d := rand.New(rand.NewPCG(seed, 7))
	n, valves := 2+d.IntN(3), 1
	if d.IntN(5) == 0 {
		valves = 2
	}
	probes := 1 + d.IntN(4) + 2*(valves-1)
	x := &drawn{plan: roomPlan(n, valves, probes), zones: map[string]bool{}, valves: map[string]bool{}}
	clock := time.Duration(d.IntN(20)) * time.Hour
	x.options = simroom.Options{
		Seed: seed, Start: time.Date(2027, 3, 1, 0, 0, 0, 0, time.UTC).Add(clock), MeterAll: d.IntN(3) == 0,
		EmitterCV: normalised(d, 0.03, 0.2), ProbeSpread: normalised(d, 0.3, 2.5), ProbeNoise: normalised(d, 0.03, 0.2),
		ProbeLag:      time.Duration(normalised(d, 20, 480)) * time.Second,
		ReadingPeriod: []time.Duration{15 * time.Second, time.Minute, time.Minute, 2 * time.Minute}[d.IntN(4)],
		Zones:         map[string]simroom.ZoneOptions{},
	}
	x.slow = x.options.ProbeLag > 5*time.Minute
	for i := range x.plan.Zones {
		z := &x.plan.Zones[i]
		z.Plants = 8 + d.IntN(40)
		x.options.Zones[z.ID] = simroom.ZoneOptions{StartPercent: normalised(d, 30, 56), UptakeDayLPH: z.VolumeML / 1000 * normalised(d, 0.004, 0.02)}
	}
	x.mistake = mistakes[d.IntN(len(mistakes))]
	x.err(d)
	return x
}

// err makes the mistake.
func (x *drawn) err(d *rand.Rand) {
	zone := func() int { return d.IntN(len(x.plan.Zones)) }
	a := zone()
	b := (a + 1 + d.IntN(len(x.plan.Zones)-1)) % len(x.plan.Zones)
	za, zb := &x.plan.Zones[a], &x.plan.Zones[b]
	va, vb := za.Valves[d.IntN(len(za.Valves))], zb.Valves[d.IntN(len(zb.Valves))]
	probe := func(z string) string {
		var ids []string
		for _, p := range x.plan.Probes {
			if p.Zone == z {
				ids = append(ids, p.ID)
			}
		}
		return ids[d.IntN(len(ids))]
	}
	f := simroom.Fault{Kind: simroom.FaultKind(x.mistake)}
	x.zones[za.ID] = true
	switch f.Kind {
	case "right":
		clear(x.zones)
		return
	case simroom.HosesSwapped:
		f.Subject, f.Other = va, vb
		x.zones[zb.ID], x.valves[va], x.valves[vb] = true, true, true
	case simroom.OneOutput:
		f.Subject, f.Other = va, vb
		x.zones[zb.ID], x.valves[va], x.valves[vb] = true, true, true
	case simroom.CrossFlow:
		x.valves[va] = true
		f.Subject, f.Other, f.Value = va, vb, normalised(d, 0.25, 1)
	case simroom.ProbesSwapped:
		f.Subject, f.Other = probe(za.ID), probe(zb.ID)
		x.zones[zb.ID] = true
	case simroom.ProbeMisplaced:
		f.Subject, f.Other = probe(za.ID), probe(zb.ID)
	case simroom.ProbeLost, simroom.ProbeStuck:
		f.Subject = probe(za.ID)
	case simroom.ValveStuckClosed, simroom.OutputDead, simroom.ValveStuckOpen:
		f.Subject = va
		x.valves[va] = true
	case simroom.EmittersBlocked: // which only a meter can tell
		f.Subject, f.Value = za.ID, normalised(d, 0.3, 0.65)
		for _, v := range za.Valves {
			x.valves[v] = x.options.MeterAll
		}
		if !x.options.MeterAll {
			clear(x.zones)
		}
	case simroom.BedLeak:
		f.Subject, f.Value = za.ID, normalised(d, 0.05, 0.3)*za.VolumeML/1000*float64(za.Plants)
	}
	x.options.Faults = []simroom.Fault{f}
}
