package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// lost gives a plan of two zones without its first valve and zone.
func lost(p *Plan) *Plan {
	p.Hash, p.Zones, p.Valves, p.Probes = "0001", p.Zones[1:], p.Valves[1:], p.Probes[2:]
	return p
}

// crash ends the process of a rig without a word and begins another one with a plan. Its
// commands reach nobody until obey is set.
func (g *rig) crash(p *Plan) *rig {
	next := startRig(g.t, p, g.room.Memory(), false)
	next.now, next.epoch, next.seq = g.now, g.epoch, g.seq
	for at, open := range g.open {
		next.open[at] = open
	}
	return next
}

// A valve whose run the last process did not end, and that no file names any more, is told to
// close, counts in its supply's limits and latches if it stays open; the alarm names the supply.
func TestStartWithAValveThatNoFileNames(t *testing.T) {
	left := Output{"north", 1}
	g := watering(t, benchPlan(2, 2))
	require.True(t, g.open[left])
	g = g.crash(lost(benchPlan(2, 2)))
	told := 0
	for _, c := range g.commands(g.got, false) {
		if c.Output == left {
			told++
		}
	}
	require.Equal(t, 1, told, "told to close with all others")
	require.Equal(t, ValveUnknown, g.valve("north-1"))
	for range 10 {
		g.run(time.Second, 35)
		last := g.commands(g.got, false)
		g.epoch, g.seq = g.room.epoch, last[len(last)-1].Seq // acted on, but this one stays open
	}
	require.NotNil(t, hasLatch(g.room.outputBy[left].mem.Latches, ValveMismatch), "%+v", g.room.outputBy[left])
	a := g.room.alarm(ValveMismatch, "feed")
	require.NotNil(t, a)
	require.Contains(t, a.because, "valve north-1 is open though it was told to close")
	g.run(2*time.Minute, 35)
	require.Equal(t, Starting, g.zone("b").Reason, "its controller does not report all closed")
	require.Contains(t, g.order(Order{ID: "r1", Kind: OrderReset, Subject: "feed"}).Because, "still open or flowing")

	g.obey, g.open[left] = true, false
	g.run(time.Minute, 35)
	require.Equal(t, SupplyBusy, g.zone("b").Reason, "it counts as open until reset")
	require.True(t, g.order(Order{ID: "r2", Kind: OrderReset, Subject: "feed"}).Accepted)
	g.run(20*time.Second, 35)
	require.NotNil(t, g.room.zoneBy["b"].run, "%+v", g.zone("b"))
	require.Nil(t, g.room.alarm(ValveMismatch, "feed"))
	require.Equal(t, ValveClosed, g.valve("north-1"))
}

// Only what had water within 24 h, or is latched open, is looked after; and only where
// somebody is there to close it.
func TestWhichOutputsAreRemembered(t *testing.T) {
	charge := func(m *Memory, at Output, end time.Duration) *OutputMemory {
		om := m.output(at)
		om.Charges = append(om.Charges, Charge{Run: "r", Zone: "z", Amount: time.Minute, End: end})
		return om
	}
	g := newRig(t, benchPlan(2, 2))
	m := g.room.Memory()
	charge(m, Output{"north", 5}, m.Age-day+1)
	charge(m, Output{"north", 6}, m.Age-day)
	charge(m, Output{"south", 5}, m.Age)
	charge(m, Output{"north", 9}, m.Age)
	m.output(Output{"north", 7}).Latches = []LatchMemory{{Code: ValveMismatch}}
	m.output(Output{"north", 8}).Latches = []LatchMemory{{Code: NoResponse}}
	m.Outputs["north"] = m.Outputs["north/5"]
	m.Outputs["north/x"] = m.Outputs["north/5"]
	p := benchPlan(2, 2)
	p.Healthy = &Output{"north", 9}
	p.Valves[1].ID, p.Zones[1].Valves = "north-5", []string{"north-5"}
	p.Valves[0].Holding, p.Valves[1].Holding, p.Valves[1].Inrush = 0.2, 0.3, 0.5
	room, _ := NewRoom(p, m, g.now)
	var loose []string
	for _, o := range room.outputs {
		if o.loose {
			loose = append(loose, o.valve)
		}
	}
	require.Equal(t, []string{"north-5-x", "north-7"}, loose)
	o := room.outputBy[Output{"north", 5}]
	require.Equal(t, []float64{0.3, 0.5}, []float64{o.holding, o.inrush}, "as much as any other")
}

// A loose output that its controller does not report keeps nothing waiting, and is not told
// to close for ever.
func TestLooseOutputThatIsGone(t *testing.T) {
	left := Output{"north", 1}
	g := watering(t, benchPlan(2, 2)).crash(lost(benchPlan(2, 2)))
	o := g.room.outputBy[left]
	c := o.ctl
	gone := func() { // the rig reports what the controller has
		c.outputs = c.outputs[:0]
		for _, x := range g.room.outputs {
			if x.ctl == c && x != o {
				c.outputs = append(c.outputs, x)
			}
		}
	}
	gone()
	g.obey = true
	g.run(time.Minute, 35)
	c.outputs = append(c.outputs, o)
	require.True(t, g.room.closedFirst(c), "no report shows it")
	o.shown = true
	require.False(t, g.room.closedFirst(c))
	o.shown = false
	require.True(t, o.maybeOpen(g.room.t))
	require.Equal(t, SupplyBusy, g.zone("b").Reason)
	gone()
	g.run(o.born+silentOpen-g.room.t, 35)
	last := 0
	for _, e := range g.commands(g.run(5*time.Second, 35), false) {
		if e.Output == left {
			last++
		}
	}
	require.LessOrEqual(t, last, 1)
	require.NotNil(t, g.room.zoneBy["b"].run, "and its supply is free")
}

// Where there are several supplies nobody knows of which a loose valve is: it counts in each,
// and the reset of each is for it too.
func TestLooseValveOfAnySupply(t *testing.T) {
	p := lost(benchPlan(3, 2))
	p.Supplies = append(p.Supplies, Supply{ID: "rain", MaxOpen: 1})
	p.Valves[1].Supply = "rain"
	g := watering(t, benchPlan(3, 2)).crash(p)
	o := g.room.outputBy[Output{"north", 1}]
	require.Nil(t, o.supply)
	require.True(t, o.takes(g.room.supplyOf("feed"), g.room.t))
	require.True(t, o.takes(g.room.supplyOf("rain"), g.room.t))
	g.step(&Tick{})
	o.shown, o.open = true, true
	g.room.mismatch(o)
	g.step(&Tick{})
	require.NotNil(t, g.room.alarm(ValveMismatch, "feed"))
	require.NotNil(t, g.room.alarm(ValveMismatch, "rain"))
	o.open = false
	for _, x := range g.room.outputs {
		x.shown = true
	}
	answer := g.order(Order{ID: "r", Kind: OrderReset, Subject: "rain"})
	require.True(t, answer.Accepted, answer.Because)
	require.Nil(t, g.room.alarm(ValveMismatch, "feed"))
}

// One that left while we looked on is of the supply that it had.
func TestLooseValveOfItsSupply(t *testing.T) {
	two := func(p *Plan) *Plan {
		p.Supplies = append(p.Supplies, Supply{ID: "rain", MaxOpen: 1})
		p.Valves[len(p.Valves)-1].Supply = "rain"
		return p
	}
	g := watering(t, two(benchPlan(3, 2)))
	g.obey = false
	g.step(&NewPlan{lost(two(benchPlan(3, 2)))})
	o := g.room.outputBy[Output{"north", 1}]
	require.True(t, o.of(g.room.supplyOf("feed")))
	require.False(t, o.of(g.room.supplyOf("rain")))
}

// A master that left the plan is closed and watched, and is no valve of any supply.
func TestMasterThatLeftIsNoLooseValve(t *testing.T) {
	g := watering(t, masterPlan(MasterValve))
	g.obey = false
	p := masterPlan(MasterValve)
	p.Hash, p.Supplies[0].Master = "0001", nil
	g.step(&NewPlan{p})
	o := g.room.outputBy[Output{"north", 8}]
	require.NotNil(t, o)
	require.False(t, o.takes(g.room.supplyOf("feed"), g.room.t))
	again := *p
	again.Hash = "0002"
	g.step(&NewPlan{&again})
	require.True(t, g.room.outputBy[Output{"north", 8}].trunk, "nor over another plan")
}

// An output that left the plan as a valve and is now the healthy output is that alone.
func TestValveThatBecomesTheHealthyOutput(t *testing.T) {
	g := watering(t, benchPlan(2, 2))
	g.obey = false
	p := lost(benchPlan(2, 2))
	p.Healthy = &Output{"north", 1}
	g.step(&NewPlan{p})
	require.Nil(t, g.room.outputBy[Output{"north", 1}])
	require.Equal(t, g.room.healthy.out, g.room.controlBy["north"].output(1))
}
