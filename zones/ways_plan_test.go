package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// watering gives a room whose zone a is being watered.
func watering(t *testing.T, p *Plan) *rig {
	g := newRig(t, p)
	g.run(20*time.Second, 35)
	require.NotNil(t, g.room.zoneBy["a"].run)
	return g
}

// A run goes on only where its outputs, and the master they hang on, stay as they are.
func TestPlanThatMovesARunningZone(t *testing.T) {
	for name, c := range map[string]struct {
		change func(p *Plan)
		ends   bool
	}{
		"nothing":        {func(*Plan) {}, false},
		"another name":   {func(p *Plan) { p.Zones[0].Name = "east" }, false},
		"a second valve": {func(p *Plan) { p.Zones[0].Valves = []string{"a", "b"}; p.Zones = p.Zones[:1] }, true},
		"another output": {func(p *Plan) { p.Valves[0].Output.Number = 7 }, true},
		"no zone":        {func(p *Plan) { p.Zones = p.Zones[1:] }, true},
		"a master":       {func(p *Plan) { p.Supplies[0].Master = &Master{Output: Output{"north", 9}, Kind: MasterPump} }, true},
		"another supply": {func(p *Plan) {
			p.Supplies = append(p.Supplies, Supply{ID: "rain", MaxOpen: 1})
			p.Valves[0].Supply = "rain"
		}, false},
		"another, with it": {func(p *Plan) {
			p.Supplies = append(p.Supplies, Supply{ID: "rain", MaxOpen: 1, Master: &Master{Output: Output{"north", 9}}})
			p.Valves[0].Supply = "rain"
		}, true},
	} {
		t.Run(name, func(t *testing.T) {
			g := watering(t, benchPlan(2, 2))
			p := benchPlan(2, 2)
			p.Hash = "0001"
			c.change(p)
			effects := g.step(&NewPlan{p})
			if !c.ends {
				require.Empty(t, closes(effects, PlanChanged))
				require.NotNil(t, g.room.zoneBy["a"].run)
				return
			}
			require.Len(t, closes(effects, PlanChanged), 1)
			require.False(t, g.open[Output{"north", 1}], "its valve was closed")
		})
	}
}

func TestPlanThatChangesTheMaster(t *testing.T) {
	for name, c := range map[string]struct {
		change func(s *Supply)
		ends   bool
	}{
		"the same":     {func(*Supply) {}, false},
		"none":         {func(s *Supply) { s.Master = nil }, true},
		"a pump":       {func(s *Supply) { s.Master.Kind = MasterPump }, true},
		"another lead": {func(s *Supply) { s.Master.Lead += time.Second }, false},
	} {
		t.Run(name, func(t *testing.T) {
			g := watering(t, masterPlan(MasterValve))
			p := masterPlan(MasterValve)
			p.Hash = "0001"
			c.change(&p.Supplies[0])
			require.Equal(t, c.ends, len(closes(g.step(&NewPlan{p}), PlanChanged)) == 1)
		})
	}
}

// A plan that comes while a run waits for its charge: the run is judged when it opens.
func TestPlanWhileTheChargeIsOnItsWay(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	g.mute = true
	g.run(20*time.Second, 35)
	require.Equal(t, recording, g.room.zoneBy["a"].run.phase)
	p := benchPlan(1, 2)
	p.Hash, p.Zones[0].Limits.MaxRun = "0001", 30*time.Second
	effects := g.step(&NewPlan{p})
	require.Len(t, closes(effects, MaxRunReached), 1, "it would last 60 s, and max_run is 30 s now")
	require.Empty(t, g.commands(effects, true))
}

// An output that left the plan is looked after until it is known to be closed, and
// for as long as its controller is there.
func TestOutputThatLeftThePlan(t *testing.T) {
	left := Output{"north", 1}
	without := func(hash string) *Plan {
		p := benchPlan(2, 2)
		p.Hash, p.Zones, p.Valves, p.Probes = hash, p.Zones[1:], p.Valves[1:], p.Probes[2:]
		return p
	}
	g := watering(t, benchPlan(2, 2))
	g.step(&NewPlan{without("0001")})
	require.False(t, g.open[left])
	g.step(&NewPlan{without("0002")})
	require.Nil(t, g.room.outputBy[left], "it was confirmed closed")

	g = watering(t, benchPlan(2, 2))
	g.obey = false
	g.step(&NewPlan{without("0001")})
	require.NotNil(t, g.room.outputBy[left])
	g.run(time.Minute, 35)
	require.NotNil(t, hasLatch(g.room.outputBy[left].mem.Latches, ValveMismatch), "a valve of no zone latches too")
	require.Equal(t, ValveLatched, g.valve("a"))
	require.Empty(t, g.commands(g.run(2*time.Minute, 35), true), "it counts in the limits of its supply: b does not open")
	require.Equal(t, SupplyBusy, g.zone("b").Reason, g.zone("b").Because)
	require.Contains(t, g.order(Order{ID: "r1", Kind: OrderReset, Subject: "feed"}).Because, "still open or flowing")
	g.obey = true
	g.open[left] = false
	g.pass(time.Second)
	g.report()
	g.step(&NewPlan{without("0003")})
	require.NotNil(t, g.room.outputBy[left], "latched, it stays")
	require.True(t, g.order(Order{ID: "r2", Kind: OrderReset, Subject: "feed"}).Accepted)
	g.run(20*time.Second, 35)
	require.NotNil(t, g.room.zoneBy["b"].run, "and then its supply is free")

	g = watering(t, benchPlan(2, 2))
	g.obey = false
	p := without("0001")
	p.Supplies[0].ID, p.Valves[0].Supply = "rain", "rain"
	g.step(&NewPlan{p})
	require.Nil(t, g.room.outputBy[left].supply, "its supply left with it")
	p = without("0002")
	p.Supplies[0].ID, p.Valves[0].Supply = "rain", "rain"
	g.step(&NewPlan{p})
	require.NotNil(t, g.room.outputBy[left])

	g = watering(t, benchPlan(2, 2))
	g.obey = false
	g.step(&NewPlan{without("0001")})
	p = without("0002")
	p.Controllers[0].ID, p.Valves[0].Output.Controller = "south", "south"
	for i := range p.Probes {
		p.Probes[i].Place.Controller = "south"
	}
	g.step(&NewPlan{p})
	require.True(t, g.room.outputBy[left].maybeOpen(g.room.t), "its grant may run still")
	require.Nil(t, g.room.alarm(ControllerOffline, "north"))
	g.pass(p.Lease + settleGrace)
	p2 := *p
	p2.Hash = "0003"
	g.step(&NewPlan{&p2})
	require.Nil(t, g.room.outputBy[left], "that is over, and nobody is there to close it")
}

// Probes that nobody named and those that an order gave to a zone outlive a plan; where
// a file names a place, it leads.
func TestProbesOverAPlan(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	for _, a := range []string{"A", "b", "c"} {
		g.step(&Reading{Place: Place{"north", 9, a}, Moisture: 40000, HasMoisture: true})
	}
	g.step(&Reading{Place: Place{"north", 0, "greenhouse-bench-by-the-north-door"}, Moisture: 40000, HasMoisture: true})
	require.NotNil(t, g.room.probeByID("north-greenhouse-bench-by-the-no"), "an id has 32 characters at most")
	require.True(t, g.order(Order{Kind: OrderAssign, Subject: "north-9-ua", Zone: "a"}).Accepted)
	require.True(t, g.order(Order{Kind: OrderAssign, Subject: "north-9-b", Zone: "a"}).Accepted)
	g.room.mem.Probes["no place"] = &ProbeMemory{ID: "ghost", Zone: "a"}

	p := benchPlan(1, 2)
	p.Hash = "0001"
	p.Probes = append(p.Probes, Probe{ID: "new", Place: Place{"north", 9, "b"}, Zone: ""})
	g.step(&NewPlan{p})
	require.Equal(t, "a", g.room.probeByID("north-9-ua").zone.id)
	require.Nil(t, g.room.probeByID("new").zone, "the file names it, and gives it to no zone")
	require.Nil(t, g.room.probeByID("ghost"), "its place cannot be read")
	require.NotNil(t, g.room.probeByID("north-9-c"), "a stranger stays known")
	require.Len(t, g.room.zoneBy["a"].probes, 3)

	p = benchPlan(1, 1)
	p.Hash = "0002"
	g.step(&NewPlan{p})
	require.Nil(t, g.room.probeByID("a1"), "it left the files")
}

func TestStrangersAreBounded(t *testing.T) {
	g := newRig(t, benchPlan(1, 1))
	meet := func(terminal int, controller string, retained bool) *probe {
		at := Place{controller, terminal, "0"}
		g.step(&Reading{Place: at, Moisture: 40000, HasMoisture: true, Retained: retained})
		return g.room.probeBy[at]
	}
	require.Nil(t, meet(500, "south", false), "no such controller")
	require.Nil(t, meet(500, "north", true), "the broker's memory is no probe")
	for i := range maxStrangers {
		require.NotNil(t, meet(1000+i, "north", false))
	}
	require.Nil(t, meet(5000, "north", false))
}

func TestPlaceIDs(t *testing.T) {
	for want, p := range map[string]Place{
		"north-1-0":  {"north", 1, "0"},
		"north-1-uz": {"north", 1, "Z"},
		"north-1-ZZ": {"north", 1, "ZZ"},
		"north-1-~":  {"north", 1, "~"},
		"north-bed":  {"north", 0, "bed"},
	} {
		require.Equal(t, want, placeID(p))
	}
	_, ok := parsePlace("north/1")
	require.False(t, ok)
	_, ok = parsePlace("north/one/0")
	require.False(t, ok)
	at, ok := parsePlace("north/1/a/b")
	require.True(t, ok)
	require.Equal(t, Place{"north", 1, "a/b"}, at)
}

// A run keeps the shorter of its old and its new lease.
func TestPlanWithAnotherLease(t *testing.T) {
	for next, want := range map[time.Duration]time.Duration{2 * time.Minute: 30 * time.Second, 15 * time.Second: 15 * time.Second} {
		p, n := benchPlan(1, 2), benchPlan(1, 2)
		p.Zones[0].Schedule.Windows[0].Shot.Value = 300
		n.Zones[0].Schedule.Windows[0].Shot.Value = 300
		n.Hash, n.Lease = "0001", next
		g := watering(t, p)
		g.step(&NewPlan{n})
		cs := g.commands(g.run(40*time.Second, 35), true)
		require.NotEmpty(t, cs)
		up := g.reportOf("north").Uptime
		require.LessOrEqual(t, cs[len(cs)-1].UntilMS, (up + want).Milliseconds())
	}
}
