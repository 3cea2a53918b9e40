package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestBootHold(t *testing.T) {
	g := rawRig(t, benchPlan(1, 3), NewMemory())
	require.Empty(t, g.commands(g.run(34*time.Second, 39), true), "5 s and a lease of 30 s have not passed")
	require.Equal(t, Starting, g.zone("a").Reason)
	require.Len(t, g.commands(g.run(2*time.Second, 39), true), 1)
}

func TestBootHoldUsesTheLongerLease(t *testing.T) {
	m := NewMemory()
	m.Lease = time.Minute
	g := rawRig(t, benchPlan(1, 3), m)
	require.Empty(t, g.commands(g.run(64*time.Second, 39), true))
	require.Len(t, g.commands(g.run(2*time.Second, 39), true), 1)
}

func TestClosesFirstInEachEpoch(t *testing.T) {
	g := rawRig(t, benchPlan(2, 3), NewMemory())
	g.run(40*time.Second, 39)
	first := map[Output]bool{}
	for _, e := range g.got {
		if c, ok := e.(*Command); ok && !first[c.Output] {
			require.False(t, c.Open, "the first command to %s closes it", c.Output)
			first[c.Output] = true
		}
	}
	require.Len(t, first, 2)
}

func TestNothingOpensOnADeafController(t *testing.T) {
	g := startRig(t, benchPlan(1, 3), NewMemory(), false) // reports come, but never with our epoch
	require.Empty(t, g.commands(g.run(3*time.Minute, 39), true))
	require.Equal(t, Starting, g.zone("a").Reason)
	// An unconfirmed close is repeated every second from 2 s on.
	closes := g.commands(g.run(10*time.Second, 39), false)
	require.Len(t, closes, 10)
}

func TestOmittedOutputConfirmsNothing(t *testing.T) {
	g := startRig(t, benchPlan(1, 3), NewMemory(), false)
	for range 60 {
		g.pass(time.Second)
		g.step(&Report{Controller: "north", Boot: "b1", Uptime: g.now.Mono, Epoch: g.room.epoch, Seq: g.room.seq, Outputs: []OutputReport{{Number: 7}}})
		g.wet(39)
		g.step(&Tick{})
	}
	require.Equal(t, Starting, g.zone("a").Reason)
	require.Empty(t, g.commands(g.got, true))
}

func TestEpochRisesAboveWhatControllersObey(t *testing.T) {
	g := startRig(t, benchPlan(1, 3), NewMemory(), false)
	g.epoch, g.seq = 40, 7
	g.pass(time.Second)
	g.report()
	require.Equal(t, uint32(41), g.room.epoch)
	g.obey = true
	g.run(40*time.Second, 39)
	require.Empty(t, g.commands(g.got, true), "somebody commanded this room before, and nothing remembers what was given")
	require.Equal(t, DailyLimit, g.zone("a").Reason)
	require.True(t, g.order(Order{Kind: OrderReset, Subject: "budget", Zone: "a"}).Accepted)
	opens := g.commands(g.run(10*time.Second, 39), true)
	require.NotEmpty(t, opens)
	require.Equal(t, uint32(41), opens[0].Epoch)
	require.Equal(t, uint32(41), g.room.mem.Epoch, "the epoch is remembered")
}

func TestSecondGateway(t *testing.T) {
	g := newRig(t, benchPlan(1, 3))
	g.run(30*time.Second, 39)
	require.Equal(t, Watering, g.zone("a").State)
	g.obey = false
	g.epoch, g.seq = 9, 1
	g.pass(time.Second)
	effects := g.report()
	require.Len(t, g.commands(effects, false), 1, "the run ends at once")
	require.Equal(t, SecondGateway, g.zone("a").Reason)
	a := g.order(Order{Kind: OrderReset, Subject: "room"})
	require.True(t, a.Accepted)
	require.Equal(t, uint32(10), g.room.epoch, "a new epoch above the highest seen")
}

func TestOldReportsAreDropped(t *testing.T) {
	g := newRig(t, benchPlan(1, 3))
	up := g.room.controlBy["north"].uptime
	old := g.reportOf("north")
	old.Uptime = up - time.Second
	old.Outputs[0].Open = true
	g.pass(time.Second)
	g.step(old)
	require.Equal(t, ValveClosed, g.valve("a"))
	require.Equal(t, up, g.room.controlBy["north"].uptime, "it tells nothing of the time either")
	// The same report again keeps no controller online.
	same := g.reportOf("north")
	g.step(same)
	g.pass(15 * time.Second)
	g.step(same)
	g.pass(time.Second)
	g.step(&Tick{})
	require.False(t, g.room.controlBy["north"].online)
}

func TestOfflineAfter15Seconds(t *testing.T) {
	g := newRig(t, benchPlan(1, 3))
	g.pass(15 * time.Second)
	g.step(&Tick{})
	require.True(t, g.room.controlBy["north"].online)
	g.pass(1)
	g.step(&Tick{})
	require.False(t, g.room.controlBy["north"].online)
}

func TestOfflineStatus(t *testing.T) {
	g := newRig(t, benchPlan(1, 3))
	g.step(&Status{Controller: "north", Retained: true})
	require.True(t, g.room.controlBy["north"].online, "a retained offline is ignored")
	g.step(&Status{Controller: "north"})
	require.False(t, g.room.controlBy["north"].online, "a live one counts at once")
	g.step(&Status{Controller: "north", Online: true})
	require.False(t, g.room.controlBy["north"].online, "online proves nothing")
	g.pass(time.Second)
	g.report()
	require.True(t, g.room.controlBy["north"].online, "a report does")
}

func TestNewBootEndsTheRunAndKeepsTheCharge(t *testing.T) {
	g := newRig(t, benchPlan(1, 3))
	g.run(20*time.Second, 39)
	require.Equal(t, Watering, g.zone("a").State)
	g.boot, g.up, g.epoch, g.seq = "b2", -7*time.Hour, 0, 0
	g.open[Output{"north", 1}] = false
	g.obey = false
	g.pass(time.Second)
	effects := g.report()
	require.Len(t, g.commands(effects, false), 1)
	require.Equal(t, Starting, g.zone("a").Reason)
	g.obey = true
	g.run(time.Minute, 39)
	require.InDelta(t, 60, g.zone("a").UsedSeconds, 0.01, "the whole run stays charged")
	// A report of the boot that ended is dropped.
	old := g.reportOf("north")
	old.Boot = "b1"
	g.step(old)
	require.Equal(t, "b2", g.room.controlBy["north"].boot)
}

func TestUptimeThatRunsOff(t *testing.T) {
	for _, c := range []struct {
		off time.Duration // over 10 min
		bad bool
	}{{1099 * time.Millisecond, false}, {1101 * time.Millisecond, true}, {-1101 * time.Millisecond, true}} {
		g := newRig(t, benchPlan(1, 3))
		g.run(time.Minute, 50)
		for i := range 1320 {
			g.up += c.off / 600
			if i%600 == 599 {
				g.up += c.off % 600
			}
			g.run(time.Second, 50)
		}
		require.Equal(t, c.bad, g.room.controlBy["north"].driftBad, "%s off over 10 min", c.off)
		if !c.bad {
			continue
		}
		require.NotNil(t, g.room.alarm(ControllerOffline, "north"))
		g.run(14*time.Minute, 50)
		require.False(t, g.room.controlBy["north"].driftBad, "two measures agree again")
	}
}

func TestGrantIsClippedAndRenewed(t *testing.T) {
	g := newRig(t, benchPlan(1, 3))
	opens := g.commands(g.run(80*time.Second, 39), true)
	require.Len(t, opens, 4, "every third of a lease until the last grant reaches the end")
	first := opens[0].UntilMS
	for i, c := range opens {
		require.Equal(t, opens[0].Run, c.Run)
		require.Equal(t, first+int64(i)*10000, c.UntilMS)
	}
	require.Equal(t, first+30000, opens[3].UntilMS, "the first grant's uptime and the run's length")
}

func TestLateReportOnlyShortensAGrant(t *testing.T) {
	g := newRig(t, benchPlan(1, 3))
	g.up -= 4 * time.Second // reports arrive 4 s late from here on
	g.pass(5 * time.Second)
	g.report()
	g.wet(39)
	opens := g.commands(g.got, true)
	require.Len(t, opens, 1)
	shown := g.now.Mono + g.up - 70*time.Hour
	require.Equal(t, (shown + 30*time.Second).Milliseconds(), opens[0].UntilMS)
}
