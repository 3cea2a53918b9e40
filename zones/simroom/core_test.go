package simroom

import (
	"testing"
	"time"

	"rillgate/schedule"
	"rillgate/zones"

	"github.com/stretchr/testify/require"
)

// waterPlan gives the test room a day: ramp-up, daytime and night, as a coir bed has
// them, on one supply with a master that one zone at a time may use.
func waterPlan() *zones.Plan {
	p := testPlan(2, 4)
	p.Supplies[0].Master = &zones.Master{
		Output: zones.Output{Controller: "north", Number: 8}, Kind: zones.MasterValve, Lead: 2 * time.Second,
	}
	on := func(d time.Duration) schedule.Edge { return schedule.Edge{Anchor: schedule.LightsOn, Offset: d} }
	off := func(d time.Duration) schedule.Edge { return schedule.Edge{Anchor: schedule.LightsOff, Offset: d} }
	percent := func(v float64) schedule.Shot { return schedule.Shot{Kind: schedule.ByPercent, Value: v} }
	windows := []schedule.Window{
		{Name: "ramp-up", From: on(time.Hour), Until: on(4 * time.Hour), Below: 50000, StopAt: 55000, Shot: percent(3), Rest: 15 * time.Minute},
		{Name: "daytime", From: on(4 * time.Hour), Until: off(-2 * time.Hour), DryBack: 2000, Floor: 40000, Shot: percent(2), Rest: 20 * time.Minute, MaxShots: 8},
		{Name: "night", From: off(0), Until: on(0), Below: 40000, Shot: schedule.Shot{Value: 45}, Rest: time.Hour, MaxShots: 2},
	}
	for i := range p.Zones {
		z := &p.Zones[i]
		z.Moisture = zones.Moisture{Combine: zones.Median, Quorum: 2, StaleAfter: 3 * time.Minute, PlausibleLo: 2000, PlausibleHi: 95000}
		z.Limits = zones.Limits{MaxRun: 6 * time.Minute, MinRest: 5 * time.Minute, MaxPerDay: time.Hour, MaxMoisture: 70000}
		z.Schedule = schedule.Zone{Routine: "fruiting", Windows: windows, Named: true}
	}
	return p
}

// pair is the core over the simulated room, with a ledger and a network that are
// always there.
type pair struct {
	sim  *Room
	core *zones.Room
	todo []zones.Event
	runs []zones.Entry
	shut map[zones.Reason]int
	bad  []*zones.Breach
	t    testing.TB
}

func newPair(t testing.TB, p *zones.Plan, o Options) *pair {
	x := &pair{t: t, sim: newRoom(t, p, o), shut: map[zones.Reason]int{}}
	core, effects := zones.NewRoom(p, zones.NewMemory(), x.now())
	x.core = core
	x.act(effects)
	x.todo = append(x.todo, &zones.BrokerLink{Up: true})
	return x
}

func (x *pair) now() zones.Instant {
	return zones.Instant{Wall: x.sim.Wall(x.sim.Now()), Mono: x.sim.Now(), Trusted: true}
}

func (x *pair) act(effects []zones.Effect) {
	for _, e := range effects {
		switch e := e.(type) {
		case *zones.Record:
			x.todo = append(x.todo, &zones.Recorded{Seq: e.Seq})
		case *zones.Command:
			x.sim.Command(e)
		case *zones.Entry:
			if e.Kind == "run-opened" {
				x.runs = append(x.runs, *e)
			}
			if e.Kind == "run-closed" {
				x.shut[e.Reason]++
			}
		case *zones.Breach:
			x.bad = append(x.bad, e)
		}
	}
}

// until lets both live up to an instant; the core ticks once a second at most.
func (x *pair) until(end time.Duration) {
	for x.sim.Now() < end {
		for len(x.todo) > 0 {
			ev := x.todo[0]
			x.todo = x.todo[1:]
			x.act(x.core.Step(x.now(), ev))
		}
		outs := x.sim.Advance(min(end, x.sim.Next(), max(x.sim.Now()+time.Second, x.core.Next())))
		x.todo = append(x.todo, &zones.Tick{})
		for _, o := range outs {
			x.todo = append(x.todo, o.Event)
		}
	}
}

// The core waters two beds for two days on the simulated room, with a probe lost and
// found on each: in their windows, one at a time, and what is reported is what was so.
func TestTheCoreWatersTheRoom(t *testing.T) {
	p := waterPlan()
	story := DemoStory(p, at("05:00"))
	x := newPair(t, p, Options{Seed: 1, Start: at("05:00"), Faults: story})
	x.until(2 * 24 * time.Hour)
	require.Empty(t, x.bad)
	for i, z := range []string{"z1", "z2"} {
		truth, _ := x.sim.Truth(z)
		opened := x.sim.Opened(zones.Output{Controller: "north", Number: i + 1})
		require.GreaterOrEqual(t, len(opened), 8, z)
		for _, o := range opened {
			clock := x.sim.Wall(o.From).Hour()
			require.True(t, clock >= 7 && clock < 16, "%s opened at %s", z, x.sim.Wall(o.From))
			require.LessOrEqual(t, o.To-o.From, 177*time.Second)
		}
		require.InDelta(t, 50, truth.Moisture, 7, z)
		t.Logf("%s: %d shots, %.1f L, %.1f to %.1f %%", z, len(opened), truth.Applied, truth.Driest, truth.Wettest)
	}
	a, b := x.sim.Opened(out1), x.sim.Opened(zones.Output{Controller: "north", Number: 2})
	for _, i := range a {
		require.Zero(t, OpenTime(b, i.From, i.To), "one at a time")
	}
	require.Equal(t, map[zones.Reason]int{zones.ShotDone: len(x.runs)}, x.shut)
}

// A day of the core and the room together, in virtual time.
func BenchmarkCoreAndRoomDay(b *testing.B) {
	for i := 0; i < b.N; i++ {
		x := newPair(b, waterPlan(), Options{Seed: uint64(i)})
		x.until(24 * time.Hour)
	}
}
