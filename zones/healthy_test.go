package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// healthyPlan is benchPlan with output 9 held while all is well.
func healthyPlan() *Plan {
	p := benchPlan(1, 2)
	p.Healthy = &Output{"north", 9}
	return p
}

// Its grants are renewed as a valve's are, never longer than a lease, and bear a new run
// every ten minutes, so that no controller sees one that is near a ceiling. There is no gap.
func TestHealthyIsHeldByLeases(t *testing.T) {
	g := newRig(t, healthyPlan())
	at := Output{"north", 9}
	require.True(t, g.open[at])
	first, runs := map[string]time.Duration{}, 0
	for range 3600 {
		for _, c := range g.commands(g.run(time.Second, 45), true) {
			require.Equal(t, at, c.Output)
			up := g.reportOf("north").Uptime
			ahead := time.Duration(c.UntilMS)*time.Millisecond - up
			require.LessOrEqual(t, ahead, g.room.plan.Lease)
			if _, known := first[c.Run]; !known {
				first[c.Run], runs = up, runs+1
			}
			require.LessOrEqual(t, up+ahead-first[c.Run], healthyTurn, "no grant of a run reaches past its ten minutes")
		}
		require.True(t, g.open[at])
		o := g.room.healthy.out
		require.Greater(t, o.deadline, g.room.t+g.room.plan.Lease/2, "it is renewed long before it runs out")
	}
	require.InDelta(t, 6, runs, 1)
	require.True(t, g.room.View(g.now).Healthy.Held)
	require.Zero(t, g.zone("a").UsedSeconds+g.zone("a").RunSeconds)
	for _, om := range g.room.mem.Outputs {
		require.Empty(t, om.Charges, "nothing is charged for it")
	}
}

// It is told to let go first, as every output, and held only once that was confirmed.
func TestHealthyIsClosedFirst(t *testing.T) {
	g := startRig(t, healthyPlan(), NewMemory(), true)
	at := Output{"north", 9}
	g.run(40*time.Second, 45)
	closed := false
	for _, e := range g.got {
		if c, ok := e.(*Command); ok && c.Output == at {
			require.True(t, closed || !c.Open)
			closed = closed || !c.Open
		}
	}
	require.True(t, closed)
	require.True(t, g.open[at])
}

// What drops it, and what does not: each alarm on both sides.
func TestWhatDropsTheHealthyOutput(t *testing.T) {
	for _, code := range Reasons() {
		g := newRig(t, healthyPlan())
		g.room.raise(code, "a", "so it is")
		g.room.lookAtHealthy()
		is := false
		for _, u := range urgent {
			is = is || u == code
		}
		require.Equal(t, is, g.room.healthy.turn == nil, "%s", code)
	}
	for _, code := range []Reason{OverWet, DailyLimit, StoppedByPerson, ClockUnsure, AlarmProbesDisagree, AlarmUnfinishedRun, NotWalked} {
		require.NotContains(t, urgent, code)
	}
	for _, code := range []Reason{LeakFound, ValveMismatch, SecondGateway, CrashLoop, StoreFailed, NoResponse, AlarmDry, ProbesLost} {
		require.Contains(t, urgent, code)
	}
}

// Dropped, it stays so for a minute: a horn that chatters tells nobody anything.
func TestHealthyDoesNotChatter(t *testing.T) {
	g := newRig(t, healthyPlan())
	at := Output{"north", 9}
	g.step(&BrokerLink{})
	require.Nil(t, g.room.healthy.turn)
	g.step(&BrokerLink{Up: true})
	g.run(58*time.Second, 45)
	require.False(t, g.open[at])
	require.False(t, g.room.View(g.now).Healthy.Held)
	g.run(4*time.Second, 45)
	require.True(t, g.open[at])
}

// Flow with all valves closed is a leak, whether or not the healthy output is held.
func TestHealthyHidesNoLeak(t *testing.T) {
	g := newRig(t, healthyPlan())
	g.flow[Output{"north", 1}] = 2
	g.run(12*time.Second, 45)
	require.NotNil(t, g.room.alarm(LeakFound, "bay"))
	require.False(t, g.open[Output{"north", 9}])
}

// Another plan may take it away or move it: the output that left lets go, the new one is
// closed first. One that a plan leaves alone is held on.
func TestHealthyFollowsThePlan(t *testing.T) {
	g := newRig(t, healthyPlan())
	same := healthyPlan()
	g.step(&NewPlan{Plan: same})
	require.NotNil(t, g.room.healthy.turn)
	moved := healthyPlan()
	moved.Healthy = &Output{"north", 7}
	g.step(&NewPlan{Plan: moved})
	require.False(t, g.open[Output{"north", 9}])
	g.run(10*time.Second, 45)
	require.True(t, g.open[Output{"north", 7}])
	g.step(&NewPlan{Plan: benchPlan(1, 2)})
	require.False(t, g.open[Output{"north", 7}])
	require.Nil(t, g.room.View(g.now).Healthy)
}

// It is not picked up before a report shows that it let go.
func TestHealthyWaitsForItsClose(t *testing.T) {
	g := newRig(t, healthyPlan())
	g.obey = false
	g.step(&BrokerLink{})
	g.step(&BrokerLink{Up: true})
	require.Empty(t, g.commands(g.run(90*time.Second, 45), true), "every report shows it held still")
	g.obey = true
	g.run(5*time.Second, 45)
	require.True(t, g.open[Output{"north", 9}])
}

// A plan without the output's controller has no healthy output: it lets go, and nothing is
// granted to a controller that nobody hears.
func TestHealthyOfAControllerThatLeft(t *testing.T) {
	south := Output{"south", 9}
	with := func(controllers ...Controller) *Plan {
		p := benchPlan(1, 2)
		p.Healthy, p.Controllers = &south, controllers
		return p
	}
	g := newRig(t, with(Controller{ID: "north"}, Controller{ID: "south"}))
	require.True(t, g.open[south])
	g.step(&NewPlan{with(Controller{ID: "north"})})
	require.False(t, g.open[south])
	require.Nil(t, g.room.View(g.now).Healthy)
	require.Empty(t, g.commands(g.run(2*time.Minute, 45), true))

	g = newRig(t, with(Controller{ID: "north"}))
	require.Nil(t, g.room.View(g.now).Healthy)
	require.False(t, g.open[south])
}

// To acknowledge an alarm does not bring back what is lost: without a broker no grant can
// be renewed, so none is given.
func TestAcknowledgedAlarmHoldsNoHealthyOutput(t *testing.T) {
	g := newRig(t, healthyPlan())
	g.step(&BrokerLink{})
	require.True(t, g.order(Order{Kind: OrderAcknowledge, Subject: string(BrokerLost)}).Accepted)
	require.Empty(t, g.commands(g.run(2*time.Minute, 45), true))
	v := g.room.View(g.now).Healthy
	require.False(t, v.Held)
	require.Equal(t, "the command connection to the broker is down", v.Because)
	g.step(&BrokerLink{Up: true})
	g.run(2*time.Second, 45)
	require.True(t, g.open[Output{"north", 9}])
}
