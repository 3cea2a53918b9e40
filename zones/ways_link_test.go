package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// After a reconnect the closes that nobody confirmed are said again in the same step.
func TestClosesAreSaidAtOnceAfterAReconnect(t *testing.T) {
	g := watering(t, benchPlan(2, 2))
	g.obey = false
	require.Len(t, g.commands(g.step(&BrokerLink{Up: false}), false), 1, "the run's close goes out, though nobody may hear it")
	require.Empty(t, g.commands(g.run(10*time.Second, 45), false), "nothing is said into a line that is down")
	cs := g.commands(g.step(&BrokerLink{Up: true}), false)
	require.Len(t, cs, 1, "what is confirmed closed needs no more words")
	require.Equal(t, Output{"north", 1}, cs[0].Output)
	require.Empty(t, g.step(&BrokerLink{Up: true}), "up again says nothing new")
}

// A close is said again after 2 s, then each second, until a report confirms it; to a
// controller that says nothing until its outputs must be shut by themselves.
func TestClosesAreRepeated(t *testing.T) {
	g := watering(t, benchPlan(1, 2))
	g.obey = false
	require.True(t, g.order(Order{Kind: OrderStop}).Accepted)
	require.Len(t, g.commands(g.run(time.Second, 45), false), 0)
	require.Len(t, g.commands(g.run(time.Second, 45), false), 1)
	require.Len(t, g.commands(g.run(3*time.Second, 45), false), 3)
	said := 0
	for range 300 {
		g.pass(time.Second)
		said += len(g.commands(g.step(&Tick{}), false))
	}
	require.InDelta(t, silentOpen.Seconds(), said, 15, "nobody is there to hear more")
	g.epoch, g.seq = g.room.epoch, g.room.seq
	g.open[Output{"north", 1}] = false
	g.report()
	require.Empty(t, g.commands(g.run(5*time.Second, 45), false), "confirmed")
}

func TestReportsThatAreNone(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	was := g.room.controlBy["north"].reports
	other, bare, kept := g.reportOf("north"), g.reportOf("north"), g.reportOf("north")
	other.Controller = "south"
	bare.Boot = ""
	kept.Retained = true
	for _, e := range []*Report{other, bare, kept} {
		g.pass(time.Second)
		e.Uptime += time.Minute
		require.Empty(t, g.step(e))
	}
	require.Equal(t, was, g.room.controlBy["north"].reports)
	require.Empty(t, g.step(&Status{Controller: "south"}))
	g.step(&Status{Controller: "north"})
	require.False(t, g.room.controlBy["north"].online)
	require.Empty(t, g.step(&Status{Controller: "north"}), "offline once is enough")
}

// The same report again is none; one of the same moment that says more is one.
func TestReportOfTheSameMoment(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	c := g.room.controlBy["north"]
	e := g.reportOf("north")
	n := c.reports
	g.step(e)
	require.Equal(t, n, c.reports, "the same again")
	e.Outputs[0].FlowLPM = 0
	g.step(e)
	require.Equal(t, n+1, c.reports, "it names a flow now")
	e.Seq--
	e.Outputs[0].FlowLPM = 1
	g.step(e)
	require.Equal(t, n+2, c.reports, "an output changed, whatever the number")
}

// A controller's ended boots are remembered, the last 16 of them.
func TestManyBoots(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	for n := range leftBoots + 3 {
		g.boot = "again-" + itoa(n)
		g.run(3*time.Second, 45)
	}
	c := g.room.controlBy["north"]
	require.Len(t, c.left, leftBoots)
	late := g.reportOf("north")
	late.Boot = "again-5"
	g.step(late)
	require.Equal(t, g.boot, c.boot, "a late report of a boot that ended")
}

// An epoch of the boot hold that is behind ours needs no new one, and is remembered as
// seen; a controller that comes later with one that is ahead shows that we forgot.
func TestEpochsSeen(t *testing.T) {
	m := NewMemory()
	m.Epoch, m.Seq = 4, 9
	g := startRig(t, benchPlan(1, 2), m, false)
	require.EqualValues(t, 5, g.room.epoch)
	e := g.reportOf("north")
	e.Epoch, e.Seq = 5, 90
	g.step(e)
	require.EqualValues(t, 6, g.room.epoch, "somebody sent numbers of our epoch")

	g = startRig(t, benchPlan(1, 2), NewMemory(), false)
	g.pass(2 * time.Minute)
	g.step(&Tick{})
	e = g.reportOf("north")
	e.Epoch, e.Seq = 7, 1
	g.step(e)
	require.True(t, g.room.mem.Spent, "a first start, and the controller obeyed before")
	require.NotNil(t, hasLatch(g.room.mem.Latches, SecondGateway))

	g = newRig(t, benchPlan(1, 2))
	e = g.reportOf("north")
	e.Epoch, e.Uptime = 7, e.Uptime+time.Second
	g.step(e)
	require.False(t, g.room.mem.Spent, "it was heard before: this is another gateway's doing")
	require.NotNil(t, hasLatch(g.room.mem.Latches, SecondGateway))
}

// A report that came late says of an output what was before its grant.
func TestOpenShownByAnOldReport(t *testing.T) {
	g := watering(t, benchPlan(1, 2))
	o := g.room.zoneBy["a"].outs[0]
	o.sawOpen = false
	e := g.reportOf("north")
	e.Uptime, e.Seq = e.Uptime+time.Millisecond, o.openSeq-1
	g.step(e)
	require.False(t, o.sawOpen, "it does not carry the grant")
	e.Uptime, e.Seq = e.Uptime+time.Millisecond, o.openSeq
	g.step(e)
	require.True(t, o.sawOpen)
}

// What a valve is said to be, when the last report does not tell.
func TestValveStates(t *testing.T) {
	for name, c := range map[string]struct {
		spoil func(g *rig, o *output)
		want  ValveState
	}{
		"open":                {func(*rig, *output) {}, ValveOpen},
		"nobody listens":      {func(g *rig, _ *output) { g.room.brokerUp = false }, ValveMaybeOpen},
		"silent":              {func(_ *rig, o *output) { o.ctl.online = false }, ValveMaybeOpen},
		"not named":           {func(_ *rig, o *output) { o.repAt = o.ctl.arrived - 1 }, ValveMaybeOpen},
		"not shown open":      {func(_ *rig, o *output) { o.sawOpen = false }, ValveMaybeOpen},
		"its grant just over": {func(g *rig, o *output) { o.sawOpen, o.open, o.deadline = false, false, g.room.t-1 }, ValveMaybeOpen},
		"its grant long over": {func(g *rig, o *output) { o.sawOpen, o.open, o.deadline = false, false, g.room.t-settleGrace }, ValveClosed},
	} {
		t.Run(name, func(t *testing.T) {
			g := watering(t, benchPlan(1, 2))
			c.spoil(g, g.room.zoneBy["a"].outs[0])
			require.Equal(t, c.want, g.valve("a"))
		})
	}
}
