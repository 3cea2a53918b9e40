package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// alarmsTold counts the alarms of a code that came and went.
func (g *rig) alarmsTold(code Reason) (came, went int) {
	for _, e := range g.got {
		if a, ok := e.(*Alarm); ok && a.Code == code {
			if a.Active {
				came++
			} else {
				went++
			}
		}
	}
	return came, went
}

// A zone may have the name of the room or of its supply: what one of them finds stands, though
// the other finds nothing.
func TestAlarmsOfOneName(t *testing.T) {
	p := benchPlan(1, 2)
	p.Room = "a"
	g := newRig(t, p)
	require.True(t, g.order(Order{Kind: OrderStop}).Accepted)
	g.run(time.Minute, 45)
	require.NotNil(t, g.room.alarm(StoppedByPerson, "a"))
	came, went := g.alarmsTold(StoppedByPerson)
	require.Equal(t, []int{1, 0}, []int{came, went})

	p = benchPlan(1, 2)
	p.Supplies[0].ID, p.Valves[0].Supply = "a", "a"
	g = watering(t, p)
	g.obey = false
	g.order(Order{Kind: OrderHold, Zone: "a", For: time.Hour})
	for range 60 { // the close is acted on, and the valve is stuck
		g.pass(time.Second)
		g.epoch, g.seq = g.room.epoch, g.room.seq
		g.report()
		g.step(&Tick{})
	}
	require.NotNil(t, g.room.alarm(ValveMismatch, "a"))
	came, went = g.alarmsTold(ValveMismatch)
	require.Equal(t, []int{1, 0}, []int{came, went})
}

// A hold goes with its outputs into other zones, also where its own zone stays in the plan and
// has others now. Released, it does not come back with the next plan.
func TestHoldGoesIntoAnotherZone(t *testing.T) {
	for name, change := range map[string]func(p *Plan){
		"swapped": func(p *Plan) { p.Zones[0].Valves, p.Zones[1].Valves = []string{"b"}, []string{"a"} },
		"split":   func(p *Plan) { p.Zones[0].Valves = []string{"b"}; p.Zones[1].Valves = []string{"a"} },
	} {
		t.Run(name, func(t *testing.T) {
			first := benchPlan(2, 2)
			if name == "split" {
				first.Supplies[0].MaxOpen = 2
				first.Zones[0].Valves, first.Zones = []string{"a", "b"}, first.Zones[:1]
				first.Probes = first.Probes[:2]
			}
			g := newRig(t, first)
			require.True(t, g.order(Order{Kind: OrderHold, Zone: "a", For: 12 * time.Hour}).Accepted)
			q := benchPlan(2, 2)
			q.Hash = "0001"
			change(q)
			g.step(&NewPlan{q})
			require.Empty(t, g.commands(g.run(5*time.Minute, 35), true))
			require.Equal(t, HeldByPerson, g.zone("a").Reason)
			require.Equal(t, HeldByPerson, g.zone("b").Reason)
			require.True(t, g.order(Order{Kind: OrderRelease, Zone: "b"}).Accepted)
			again := *q
			again.Hash = "0002"
			g.step(&NewPlan{&again})
			require.NotEqual(t, HeldByPerson, g.zone("b").Reason, "released is released")
			require.Equal(t, HeldByPerson, g.zone("a").Reason)
		})
	}
}

// An open valve whose controller leaves the plan counts in its supply's limits for as long as
// its grant may run, and its run is settled then.
func TestControllerThatLeavesOpen(t *testing.T) {
	p := benchPlan(2, 2)
	p.Controllers = append(p.Controllers, Controller{ID: "south"})
	p.Valves[1].Output = Output{"south", 1}
	g := newRig(t, p)
	g.wet(45)
	for range 2 { // a alone is dry
		for _, pr := range p.Probes[:2] {
			g.step(&Reading{Place: pr.Place, Moisture: 35000, HasMoisture: true})
		}
	}
	require.NotNil(t, g.room.zoneBy["a"].run)
	g.obey = false
	q := benchPlan(2, 2)
	q.Hash, q.Controllers = "0001", []Controller{{ID: "south"}}
	q.Zones, q.Valves, q.Probes = q.Zones[1:], q.Valves[1:], q.Probes[2:]
	q.Valves[0].Output = Output{"south", 1}
	for i := range q.Probes {
		q.Probes[i].Place.Controller = "south"
	}
	g.step(&NewPlan{q})
	deadline := g.room.outputBy[Output{"north", 1}].deadline
	for g.room.t < deadline+settleGrace-time.Second {
		require.Empty(t, g.commands(g.run(time.Second, 35), true))
	}
	require.Equal(t, SupplyBusy, g.zone("b").Reason)
	g.run(5*time.Second, 35)
	require.NotNil(t, g.room.zoneBy["b"].run)
	require.Empty(t, g.room.settling)
	for _, c := range g.room.mem.output(Output{"north", 1}).Charges {
		require.False(t, c.Open)
	}
}

// Flow with all valves closed is a leak beside a controller that is silent for so long that its
// outputs are closed by themselves.
func TestLeakBesideASilentController(t *testing.T) {
	for _, wait := range []time.Duration{time.Minute, 3 * time.Minute} {
		p := benchPlan(1, 2)
		p.Controllers = append(p.Controllers, Controller{ID: "south"})
		p.Valves = append(p.Valves, Valve{ID: "b", Output: Output{"south", 1}, Supply: "feed"})
		g := startRig(t, p, NewMemory(), false)
		north := func(d time.Duration) {
			for end := g.now.Mono + d; g.now.Mono < end; {
				g.pass(time.Second)
				g.epoch, g.seq = g.room.epoch, g.room.seq
				g.step(g.reportOf("north"))
				g.step(&Tick{})
			}
		}
		north(wait)
		g.flow[Output{"north", 1}] = 3
		north(15 * time.Second)
		require.Equal(t, wait > silentOpen, hasLatch(g.room.mem.Latches, LeakFound) != nil, "south is silent for %s: %+v at %s", wait, g.room.mem.Latches, g.room.t)
	}
}

// The latch of a master that a plan has moved is reset with its supply's, when a report shows
// the old one closed.
func TestMasterThatLeftLatched(t *testing.T) {
	g := watering(t, masterPlan(MasterValve))
	old := Output{"north", 8}
	g.room.mismatch(g.room.outputBy[old])
	p := masterPlan(MasterValve)
	p.Hash, p.Supplies[0].Master = "0001", &Master{Output: Output{"north", 7}, Kind: MasterValve, Lead: 2 * time.Second}
	g.step(&NewPlan{p})
	require.NotNil(t, hasLatch(g.room.outputBy[old].mem.Latches, ValveMismatch))
	g.run(5*time.Second, 35)
	require.True(t, g.order(Order{ID: "r", Kind: OrderReset, Subject: "feed"}).Accepted)
	require.Nil(t, hasLatch(g.room.outputBy[old].mem.Latches, ValveMismatch))
	g.run(time.Second, 35)
	require.Nil(t, g.room.alarm(ValveMismatch, "feed"))
}
