package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/schedule"
)

// loosePlan gives a zone whose valve hangs on no supply.
func loosePlan() *Plan {
	p := benchPlan(1, 2)
	p.Valves[0].Supply = ""
	p.Controllers[0].Inputs = []Input{{ID: "low", Means: SupplyLow}}
	return p
}

// A zone without a supply takes no turns; by hand it is watered under all that binds it.
func TestZoneWithoutASupply(t *testing.T) {
	g := newRig(t, loosePlan())
	g.step(&InputState{Controller: "north", ID: "low", Active: true})
	require.True(t, g.order(Order{Kind: OrderShot, Zone: "a", For: time.Minute}).Accepted, "no supply of it is low")
	g.run(30*time.Second, 45)
	require.Equal(t, ValveOpen, g.valve("a"))
	effects := g.run(40*time.Second, 45)
	require.Len(t, closes(effects, ShotDone), 1)
	require.Equal(t, time.Minute, g.room.zoneBy["a"].used(g.room.t, ""))

	g.open[Output{"north", 1}] = true // by itself
	g.obey = false
	g.run(10*time.Second, 45)
	require.Equal(t, ValveLatched, g.valve("a"))
	require.True(t, g.room.outputs[0].maybeOpen(g.room.t))
	require.Equal(t, Latched, g.zone("a").State)
	require.Contains(t, g.zone("a").Because, "rillgate reset a")
	g.open[Output{"north", 1}] = false
	g.run(2*time.Second, 45)
	require.True(t, g.order(Order{Kind: OrderReset, Zone: "a"}).Accepted)
	p := loosePlan()
	p.Hash = "0001"
	g.step(&NewPlan{p})
	require.Empty(t, g.room.supplies[0].zones)
	require.True(t, sameMaster(nil, p, "feed"), "a supply without a master is as good as none")
}

// A zone that has no moisture to remember is not judged by its shots.
func TestCountShotWantsAMoisture(t *testing.T) {
	g := newRig(t, respondPlan())
	z := g.room.zoneBy["a"]
	shot := func(knew bool) {
		g.room.countShot(z, &run{zone: z, length: 175500 * time.Millisecond, knew: knew, before: 40000})
	}
	shot(false)
	require.Zero(t, z.mem.Response.Shots)
	z.est.known, z.est.value = false, 99000
	shot(true)
	require.Equal(t, ResponseMemory{Shots: 1, Worth: 3000, Base: 40000, High: 40000}, z.mem.Response)
	z.est.known = true
	shot(true)
	require.NotZero(t, z.mem.Response.JudgeAt)
	shot(true)
	require.Equal(t, 2, z.mem.Response.Shots, "a third cannot be felt yet")
}

// A valve of a run that one report shows closed again and again is over a little early
// only at the run's end.
func TestRunOutByTheControllersWord(t *testing.T) {
	for name, c := range map[string]struct {
		spoil func(run *run)
		out   bool
	}{
		"closed a little early": {func(*run) {}, true},
		"in its lead":           {func(run *run) { run.phase = leading }, false},
		"not told to open":      {func(run *run) { run.outs[0].wanted = false }, true},
		"not shown":             {func(run *run) { run.outs[0].shown = false }, false},
		"still open":            {func(run *run) { run.outs[0].open = true }, false},
		"never seen open":       {func(run *run) { run.outs[0].sawOpen = false }, false},
		"long before its end":   {func(run *run) { run.end += time.Minute }, false},
	} {
		t.Run(name, func(t *testing.T) {
			g := watering(t, benchPlan(1, 2))
			run := g.room.zoneBy["a"].run
			run.end, run.outs[0].open = g.room.t+endSlack, false
			c.spoil(run)
			require.Equal(t, c.out, g.room.ranOut(run))
		})
	}
}

// An output that shows closed in a report that carries its open disobeys, but for the
// last second of the run; in its lead there is no such second.
func TestDisobeys(t *testing.T) {
	for name, c := range map[string]struct {
		spoil func(r *Room, run *run)
		bad   bool
	}{
		"open":                {func(*Room, *run) {}, false},
		"closed":              {func(_ *Room, run *run) { run.outs[0].open = false }, true},
		"closed at the end":   {func(r *Room, run *run) { run.outs[0].open, run.end = false, r.t+endSlack }, false},
		"closed, a late lead": {func(r *Room, run *run) { run.outs[0].open, run.end, run.phase = false, r.t, leading }, true},
		"nobody shows it":     {func(_ *Room, run *run) { run.outs[0].shown, run.outs[0].sawOpen = false, true }, false},
		"nobody showed it 10 s": {func(r *Room, run *run) {
			run.outs[0].shown, run.outs[0].sawOpen, run.outs[0].openAt = false, false, r.t-openShownIn
		}, true},
		"not told to open": {func(_ *Room, run *run) { run.outs[0].wanted, run.outs[0].open = false, false }, false},
	} {
		t.Run(name, func(t *testing.T) {
			g := watering(t, benchPlan(1, 2))
			run := g.room.zoneBy["a"].run
			c.spoil(g.room, run)
			_, bad := g.room.disobeys(run)
			require.Equal(t, c.bad, bad)
		})
	}
}

// A run that never opened a valve gives its shot back to the window that it was of, and
// to no other.
func TestShotThatNeverOpened(t *testing.T) {
	for name, c := range map[string]struct {
		window, instance string
		had, left        int
	}{
		"of this window":    {"w1", "w1", 2, 1},
		"of the one before": {"w1", "w2", 2, 2},
		"by hand":           {"", "w1", 2, 2},
		"none was counted":  {"w1", "w1", 0, 0},
	} {
		t.Run(name, func(t *testing.T) {
			g := newRig(t, benchPlan(1, 2))
			z := g.room.zoneBy["a"]
			z.mem.Progress = schedule.Progress{Instance: c.instance, Shots: c.had}
			g.room.settle(&run{id: "r", zone: z, outs: z.outs, window: c.window, length: time.Minute}, g.room.t, g.room.t)
			require.Equal(t, c.left, z.mem.Progress.Shots)
			require.Zero(t, z.used(g.room.t, ""))
		})
	}
}

// Of a run that ended in its lead only the master was open: nothing is charged.
func TestStopInTheLead(t *testing.T) {
	p := masterPlan(MasterValve)
	p.Supplies[0].Master.Lead = 5 * time.Second
	g := newRig(t, p)
	require.True(t, g.order(Order{Kind: OrderShot, Zone: "a", For: time.Minute}).Accepted)
	g.run(2*time.Second, 45)
	require.Equal(t, leading, g.room.zoneBy["a"].run.phase)
	require.True(t, g.room.zoneBy["a"].outs[0].confirmed)
	require.True(t, g.order(Order{Kind: OrderStop, Zone: "a"}).Accepted)
	g.run(3*time.Second, 45)
	require.True(t, g.room.Quiet())
	require.False(t, g.room.supplies[0].masterOn)
	require.Zero(t, g.room.zoneBy["a"].used(g.room.t, ""))
}

// In its lead, a valve that was never confirmed closed stays so.
func TestStopInTheLeadOfAnUnsureValve(t *testing.T) {
	p := masterPlan(MasterValve)
	p.Supplies[0].Master.Lead = 5 * time.Second
	for _, granted := range []bool{false, true} {
		g := newRig(t, p)
		require.True(t, g.order(Order{Kind: OrderShot, Zone: "a", For: time.Minute}).Accepted)
		g.run(time.Second, 45)
		z := g.room.zoneBy["a"]
		z.outs[0].confirmed, z.outs[0].granted = false, granted
		g.room.closeRun(z.run, StoppedByPerson, "a test")
		require.Equal(t, !granted, z.outs[0].confirmed, "what was never granted cannot be open")
	}
}

// One of two valves whose run ended meanwhile belongs to another run.
func TestSettledOutputsOfAnotherRun(t *testing.T) {
	g := watering(t, benchPlan(1, 2))
	run := g.room.zoneBy["a"].run
	run.closedAt = g.room.t
	o := run.outs[0]
	_, _, ok := g.room.settledAt(run)
	require.False(t, ok, "nobody says that it is closed")
	o.run = "another"
	at, _, ok := g.room.settledAt(run)
	require.True(t, ok)
	require.Equal(t, run.closedAt, at)
	require.False(t, run.overran())
	o.run, o.shown, o.open, o.deadline = run.id, false, true, g.room.t-settleGrace
	_, _, ok = g.room.settledAt(run)
	require.True(t, ok, "no report of this boot says open")
	o.openSeen = g.room.t
	require.True(t, run.overran())
}

func TestTransformerWithoutVolts(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	c := g.room.controlBy["north"]
	c.cfg.VA, c.cfg.Volts = 10, 0
	require.False(t, g.room.overloaded(c, g.room.zoneBy["a"]), "without volts there is nothing to reckon")
	c.cfg.Volts = 24
	g.room.zoneBy["a"].outs[0].holding = 0.5
	require.True(t, g.room.overloaded(c, g.room.zoneBy["a"]), "12 VA on a transformer of 10")
}

// A transformer carries the master of the supply that opens, not that of another.
func TestTransformerCountsItsOwnMaster(t *testing.T) {
	p := masterPlan(MasterValve)
	p.Controllers[0].VA, p.Controllers[0].Volts = 20, 24
	p.Supplies = append(p.Supplies, Supply{ID: "rain", MaxOpen: 1, Master: &Master{Output: Output{"north", 9}, Holding: 0.5, Inrush: 0.5}})
	p.Supplies[0].Master.Holding, p.Supplies[0].Master.Inrush = 0.4, 0.4
	p.Valves[0].Holding, p.Valves[0].Inrush = 0.3, 0.4
	g := newRig(t, p)
	require.False(t, g.room.overloaded(g.room.controlBy["north"], g.room.zoneBy["a"]), "0.4 + 0.3 + 0.1 A at 24 V are 19.2 VA")
	p.Supplies[0].Master.Holding += 0.05
	g.room.supplies[0].master.holding += 0.05
	require.True(t, g.room.overloaded(g.room.controlBy["north"], g.room.zoneBy["a"]))
}
