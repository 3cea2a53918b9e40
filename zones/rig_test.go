package zones

import (
	"math"
	"testing"
	"time"

	"rillgate/schedule"
)

// rig steps a room by hand: the test is ledger, controller and clock.
type rig struct {
	t     *testing.T
	room  *Room
	now   Instant
	boot  string
	up    time.Duration // uptime of every controller less Mono
	epoch uint32
	seq   uint32
	open  map[Output]bool
	flow  map[Output]float64
	mute  bool // the ledger does not answer
	obey  bool // commands move outputs and are reported at once
	got   []Effect
}

// newRig starts a room and leads it through the boot hold, with probes heard.
func newRig(t *testing.T, p *Plan) *rig {
	g := rawRig(t, p, NewMemory())
	g.run(40*time.Second, 45)
	return g
}

func rawRig(t *testing.T, p *Plan, m *Memory) *rig { return startRig(t, p, m, true) }

func startRig(t *testing.T, p *Plan, m *Memory, obey bool) *rig {
	g := &rig{t: t, boot: "b1", obey: obey, open: map[Output]bool{}, flow: map[Output]float64{}, up: time.Hour,
		now: Instant{Wall: time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC), Mono: 77 * time.Hour, Trusted: true}}
	room, effects := NewRoom(p, m, g.now)
	g.room = room
	g.took(effects)
	g.step(&BrokerLink{Up: true})
	return g
}

func (g *rig) step(ev Event) []Effect {
	before := len(g.got)
	g.took(g.room.Step(g.now, ev))
	return g.got[before:]
}

func (g *rig) took(effects []Effect) {
	var answer uint64
	acted := false
	for _, e := range effects {
		g.got = append(g.got, e)
		switch e := e.(type) {
		case *Record:
			answer = e.Seq
		case *Command:
			if g.obey {
				g.open[e.Output] = e.Open
				g.epoch, g.seq = e.Epoch, e.Seq
				acted = true
			}
		case *Breach:
			g.t.Errorf("breach of %s: %s", e.Invariant, e.Detail)
		}
	}
	if answer > 0 && !g.mute {
		g.step(&Recorded{Seq: answer})
	}
	if acted {
		g.report()
	}
}

func (g *rig) report() []Effect {
	before := len(g.got)
	for _, c := range g.room.controllers {
		g.step(g.reportOf(c.id))
	}
	return g.got[before:]
}

func (g *rig) reportOf(id string) *Report {
	r := &Report{Controller: id, Boot: g.boot, Uptime: g.now.Mono + g.up - 70*time.Hour, Epoch: g.epoch, Seq: g.seq}
	for _, o := range g.room.controlBy[id].outputs {
		w := OutputReport{Number: o.id.Number, Open: g.open[o.id], FlowLPM: -1}
		if f, ok := g.flow[o.id]; ok {
			w.FlowLPM = f
		}
		r.Outputs = append(r.Outputs, w)
	}
	return r
}

func (g *rig) pass(d time.Duration) {
	g.now.Mono += d
	g.now.Wall = g.now.Wall.Add(d)
}

// run ticks each second for d, with a report each second and every probe heard
// every 10 s at a level (none when it is 0).
func (g *rig) run(d time.Duration, percent float64) []Effect {
	before := len(g.got)
	for end := g.now.Mono + d; g.now.Mono < end; {
		g.pass(time.Second)
		g.report()
		if percent > 0 && g.now.Mono%(10*time.Second) == 0 {
			g.wet(percent)
		}
		g.step(&Tick{})
	}
	return g.got[before:]
}

// wet lets every probe of the room be heard.
func (g *rig) wet(percent float64) {
	for _, p := range g.room.plan.Probes {
		g.step(&Reading{Place: p.Place, Moisture: Level(math.Round(percent * 1000)), HasMoisture: true, EC: math.NaN(), Temperature: math.NaN()})
	}
}

// dry makes zones ask for water: two readings under the level.
func (g *rig) commands(effects []Effect, open bool) (cs []*Command) {
	for _, e := range effects {
		if c, ok := e.(*Command); ok && c.Open == open {
			cs = append(cs, c)
		}
	}
	return cs
}

func (g *rig) zone(id string) ZoneView {
	for _, z := range g.room.View(g.now).Zones {
		if z.ID == id {
			return z
		}
	}
	g.t.Fatalf("no zone %s", id)
	return ZoneView{}
}

func (g *rig) valve(id string) ValveState {
	for _, v := range g.room.View(g.now).Valves {
		if v.ID == id {
			return v.State
		}
	}
	return ""
}

// order asks and gives the answer.
func (g *rig) order(o Order) *Answer {
	for _, e := range g.step(&o) {
		if a, ok := e.(*Answer); ok {
			return a
		}
	}
	g.t.Fatalf("no answer to %v", o)
	return nil
}

// bench gives a plan of n zones "a", "b", ... with m probes and one valve each, all
// on controller north and on one supply that carries one valve; an all-day window
// waters under 40 % by shots of 60 s.
func benchPlan(n, m int) *Plan {
	p := &Plan{
		Hash: "0000", Room: "bay", Lease: 30 * time.Second,
		Calendar:    schedule.Calendar{Location: time.UTC, Days: []schedule.Day{{On: 6 * time.Hour, Off: 18 * time.Hour}}},
		Controllers: []Controller{{ID: "north"}},
		Supplies:    []Supply{{ID: "feed", MaxOpen: 1}},
	}
	w := schedule.Window{Name: "all-day", Until: schedule.Edge{Offset: 24 * time.Hour}, Below: 40000, Shot: schedule.Shot{Value: 60}, Rest: 10 * time.Minute}
	for i := range n {
		id := string(rune('a' + i))
		p.Valves = append(p.Valves, Valve{ID: id, Output: Output{"north", i + 1}, Supply: "feed"})
		p.Zones = append(p.Zones, Zone{
			ID: id, Valves: []string{id}, Plants: 10, VolumeML: 6500, EmittersEach: 2, EmitterLPH: 2,
			Moisture: Moisture{Combine: Median, Quorum: min(2, m), StaleAfter: 3 * time.Minute, PlausibleLo: 2000, PlausibleHi: 95000},
			Limits:   Limits{MaxRun: 6 * time.Minute, MinRest: 5 * time.Minute, MaxPerDay: time.Hour, MaxMoisture: 70000},
			Schedule: schedule.Zone{Named: true, Windows: []schedule.Window{w}},
		})
		for k := range m {
			p.Probes = append(p.Probes, Probe{ID: id + itoa(k), Place: Place{"north", i + 1, itoa(k)}, Zone: id})
		}
	}
	return p
}
