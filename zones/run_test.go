package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/schedule"
)

func TestNothingOpensBeforeTheChargeIsDurable(t *testing.T) {
	g := newRig(t, benchPlan(1, 3))
	g.mute = true
	effects := g.run(20*time.Second, 39)
	require.Empty(t, g.commands(effects, true))
	rec := lastRecord(effects, RecIntent)
	require.NotNil(t, rec)
	require.Equal(t, time.Minute, rec.Run.Length)
	opens := g.commands(g.step(&Recorded{Seq: g.room.recSeq}), true)
	require.Len(t, opens, 1)
}

func lastRecord(effects []Effect, kind RecordKind) (found *Record) {
	for _, e := range effects {
		if r, ok := e.(*Record); ok && r.Kind == kind {
			found = r
		}
	}
	return found
}

func TestRecordFailureRefusesAndCloses(t *testing.T) {
	g := newRig(t, benchPlan(2, 3))
	g.run(20*time.Second, 39)
	require.Equal(t, Watering, g.zone("a").State)
	g.mute = true
	effects := g.step(&RecordFailed{Seq: 999, Err: "no space left on device"})
	require.Len(t, g.commands(effects, false), 1)
	require.Equal(t, StoreFailed, g.zone("a").Reason)
	require.Empty(t, g.commands(g.run(20*time.Minute, 39), true), "it stands until a restart")
}

func TestRefundOnlyAfterConfirmation(t *testing.T) {
	g := newRig(t, benchPlan(1, 3))
	g.run(20*time.Second, 39)
	require.InDelta(t, 60, g.zone("a").UsedSeconds, 0, "the whole run is charged before it opens")
	g.obey = false
	g.order(Order{Kind: OrderHold, Zone: "a"})
	require.InDelta(t, 60, g.zone("a").UsedSeconds, 0, "no report shows it closed yet")
	g.obey = true
	g.pass(time.Second)
	g.step(&Tick{})
	g.run(5*time.Second, 39)
	used := g.zone("a").UsedSeconds
	require.Less(t, used, 20.0)
	require.Greater(t, used, 5.0)
}

func TestRefundFromTheLastDeadlineWithoutReports(t *testing.T) {
	g := newRig(t, benchPlan(1, 3))
	g.run(11*time.Second, 39) // opens at the 10th second
	require.Equal(t, Watering, g.zone("a").State)
	g.obey = false
	g.step(&BrokerLink{Up: false})
	require.Equal(t, BrokerLost, g.zone("a").Reason)
	require.Equal(t, ValveMaybeOpen, g.valve("a"))
	for range 30 {
		g.pass(time.Second)
		g.step(&Tick{})
	}
	require.InDelta(t, 60, g.zone("a").UsedSeconds, 0)
	g.pass(time.Second)
	g.step(&Tick{})
	require.InDelta(t, 32, g.zone("a").UsedSeconds, 0.01, "open at most until the last deadline and 2 s")
	require.Equal(t, ValveClosed, g.valve("a"), "the grant has run out")
}

func TestDailyLimitCountsAge(t *testing.T) {
	p := benchPlan(1, 3)
	p.Zones[0].Limits.MaxPerDay = 3 * time.Minute
	p.Zones[0].VolumeML = 0 // what a shot is worth is unknown: no-response stays out of this
	p.Zones[0].Schedule.Windows[0].Rest = 10 * time.Minute
	g := newRig(t, p)
	effects := g.run(2*time.Hour, 39)
	require.Len(t, closes(effects, ShotDone), 3)
	require.Equal(t, DailyLimit, g.zone("a").Reason)
	require.NotNil(t, g.room.alarm(DailyLimit, "a"))
	// The wall clock may do what it likes.
	g.now.Wall = g.now.Wall.Add(48 * time.Hour)
	require.Empty(t, g.commands(g.run(time.Minute, 39), true))
	effects = g.run(22*time.Hour+15*time.Minute, 39)
	require.Len(t, closes(effects, ShotDone), 2, "a charge leaves 24 h after its run's end")
}

func closes(effects []Effect, why Reason) (es []*Entry) {
	for _, e := range effects {
		if x, ok := e.(*Entry); ok && x.Kind == "run-closed" && x.Reason == why {
			es = append(es, x)
		}
	}
	return es
}

func TestCrashKeepsTheCharge(t *testing.T) {
	p := benchPlan(1, 3)
	g := newRig(t, p)
	g.run(20*time.Second, 39)
	m := g.room.mem.Clone()
	g2 := rawRig(t, p, m)
	require.NotNil(t, g2.room.alarm(AlarmUnfinishedRun, "a"))
	require.InDelta(t, 60, g2.zone("a").UsedSeconds, 0)
	effects := g2.run(4*time.Minute, 39)
	require.Empty(t, g2.commands(effects, true), "it rests from the last moment at which it can have been open")
	require.Equal(t, RestingStill, g2.zone("a").Reason)
	require.True(t, g2.order(Order{Kind: OrderAcknowledge, Subject: "a"}).Accepted)
	require.Nil(t, g2.room.alarm(AlarmUnfinishedRun, "a"))
}

func TestCrashLoop(t *testing.T) {
	p, m := benchPlan(1, 3), NewMemory()
	for i := range 7 {
		g := rawRig(t, p, m)
		m = g.room.mem.Clone()
		latched := g.room.alarm(CrashLoop, "bay") != nil
		require.Equal(t, i >= 6, latched, "start %d", i+1)
	}
	g := rawRig(t, p, m)
	require.True(t, g.order(Order{Kind: OrderReset, Subject: "room"}).Accepted)
	require.Empty(t, g.room.mem.Starts)
}

func TestMismatchWithoutMaster(t *testing.T) {
	g := newRig(t, benchPlan(2, 3))
	g.run(20*time.Second, 45)
	east := Output{"north", 1}
	g.obey = false
	g.open[east] = true
	g.run(4*time.Second, 45)
	require.Nil(t, g.room.alarm(ValveMismatch, "a"), "open for 3 s is not more than 3 s")
	g.run(time.Second, 45)
	require.Equal(t, ValveMismatch, g.zone("a").Reason)
	require.Equal(t, ValveLatched, g.valve("a"))
	g.open[east] = false
	require.Empty(t, g.commands(g.run(time.Minute, 39), true), "its valve counts as open in the supply until reset")
	require.Equal(t, SupplyBusy, g.zone("b").Reason)
	g.open[east] = true
	g.pass(time.Second)
	g.report()
	require.False(t, g.order(Order{Kind: OrderReset, Subject: "a"}).Accepted, "refused while the cause holds")
	g.open[east] = false
	g.pass(time.Second)
	g.report()
	require.True(t, g.order(Order{Kind: OrderReset, Subject: "a"}).Accepted)
}

func masterPlan(kind MasterKind) *Plan {
	p := benchPlan(2, 3)
	p.Supplies[0].Master = &Master{Output: Output{"north", 8}, Kind: kind, Lead: 2 * time.Second}
	return p
}

func TestMismatchWithMasterLatchesTheSupply(t *testing.T) {
	g := newRig(t, masterPlan(MasterValve))
	g.run(20*time.Second, 39)
	require.Equal(t, Watering, g.zone("a").State)
	g.obey = false
	g.open[Output{"north", 2}] = true
	effects := g.run(6*time.Second, 39)
	require.Equal(t, ValveMismatch, g.zone("a").Reason)
	require.Equal(t, ValveMismatch, g.zone("b").Reason)
	var master bool
	for _, c := range g.commands(effects, false) {
		master = master || c.Output == Output{"north", 8}
	}
	require.True(t, master, "the master closes")
}

func TestMasterValveLeads(t *testing.T) {
	g := newRig(t, masterPlan(MasterValve))
	effects := g.run(80*time.Second, 39)
	opens := g.commands(effects, true)
	require.Equal(t, 8, opens[0].Output.Number)
	at := firstOpen(opens, 1)
	require.Equal(t, opens[0].UntilMS+2000, opens[at].UntilMS, "the zone valve opens 2 s later")
	last := opens[len(opens)-1]
	for _, c := range opens {
		if c.Output.Number == 8 && c.Run == opens[0].Run {
			last = c
		}
	}
	require.Equal(t, opens[at].UntilMS+30000, last.UntilMS, "both are clipped to the same end")
	require.Len(t, closes(effects, ShotDone), 1)
}

func TestPumpFollows(t *testing.T) {
	g := newRig(t, masterPlan(MasterPump))
	opens := g.commands(g.run(80*time.Second, 39), true)
	require.Equal(t, 1, opens[0].Output.Number)
	at := firstOpen(opens, 8)
	require.Equal(t, opens[0].UntilMS+2000, opens[at].UntilMS)
}

func firstOpen(cs []*Command, output int) int {
	for i, c := range cs {
		if c.Output.Number == output {
			return i
		}
	}
	return -1
}

func TestReportedClosedEndsTheRunWithoutLatch(t *testing.T) {
	g := newRig(t, benchPlan(1, 3))
	g.run(20*time.Second, 39)
	g.open[Output{"north", 1}] = false
	g.obey = false
	g.pass(time.Second)
	effects := g.report()
	require.Len(t, closes(effects, ValveMismatch), 1)
	require.Empty(t, g.zone("a").Latches)
}

func TestOpenThatNoReportShows(t *testing.T) {
	g := newRig(t, benchPlan(1, 3))
	g.obey = false
	effects := g.run(19*time.Second, 39) // opens at the 10th second
	require.Empty(t, closes(effects, ValveMismatch))
	effects = g.run(2*time.Second, 39)
	require.Len(t, closes(effects, ValveMismatch), 1)
	require.Empty(t, g.zone("a").Latches)
}

func TestFairTurn(t *testing.T) {
	p := benchPlan(3, 3)
	g := newRig(t, p)
	order := []string{}
	for _, e := range g.run(5*time.Minute, 39) {
		if x, ok := e.(*Entry); ok && x.Kind == "run-opened" {
			order = append(order, x.Zone)
			require.Equal(t, g.zone(x.Zone).Window, x.Window, "the journal names the window")
		}
	}
	require.Equal(t, []string{"a", "b", "c"}, order, "equal wait, equal deficit: by id")
}

func TestDeeperDeficitGoesFirst(t *testing.T) {
	g := newRig(t, benchPlan(2, 3))
	for range 12 {
		g.pass(time.Second)
		g.report()
		for _, p := range g.room.plan.Probes {
			level := Level(45000)
			if g.now.Mono%(4*time.Second) == 0 {
				level = 39000
				if p.Zone == "b" {
					level = 38000
				}
			}
			g.step(&Reading{Place: p.Place, Moisture: level, HasMoisture: true})
		}
	}
	opens := g.commands(g.got, true)
	require.NotEmpty(t, opens)
}

func TestTransformer(t *testing.T) {
	p := benchPlan(2, 3)
	p.Supplies[0].MaxOpen = 2
	p.Controllers[0].Volts, p.Controllers[0].VA = 24, 15.6 // 0.25 A + 0.4 A at 24 V
	for i := range p.Valves {
		p.Valves[i].Holding, p.Valves[i].Inrush = 0.25, 0.4
	}
	g := newRig(t, p)
	g.run(15*time.Second, 39)
	require.Equal(t, Watering, g.zone("a").State)
	require.Equal(t, Watering, g.zone("b").State, "holding and one inrush just fit")
	p.Controllers[0].VA = 15.5
	g = newRig(t, p)
	g.run(15*time.Second, 39)
	require.Equal(t, SupplyBusy, g.zone("b").Reason)
}

func TestFallback(t *testing.T) {
	p := benchPlan(1, 3)
	p.Zones[0].Lost = &Fallback{Shot: schedule.Shot{Value: 60}, Every: 2 * time.Hour, MaxPerDay: 2 * time.Minute}
	g := newRig(t, p)
	effects := g.run(2*time.Hour, 0)
	require.Empty(t, g.commands(effects, true))
	require.Equal(t, ProbesLost, g.zone("a").Reason)
	effects = g.run(6*time.Minute, 0)
	require.Len(t, closes(effects, ShotDone), 1)
	effects = g.run(10*time.Hour, 0)
	require.Len(t, closes(effects, ShotDone), 1, "its own limit of the day")
	require.Equal(t, DailyLimit, g.zone("a").Reason)
}

func TestMasterStaysOpenOverAPlan(t *testing.T) {
	g := newRig(t, masterPlan(MasterValve))
	g.run(20*time.Second, 39)
	require.Equal(t, Watering, g.zone("a").State)
	g.step(&NewPlan{masterPlan(MasterValve)})
	effects := g.run(70*time.Second, 39)
	require.Len(t, closes(effects, ShotDone), 1)
	require.False(t, g.open[Output{"north", 8}] && g.zone("b").State != Watering, "it closes with the last run")
}

func TestAnotherMasterEndsTheRun(t *testing.T) {
	g := newRig(t, masterPlan(MasterValve))
	g.run(20*time.Second, 39)
	p := masterPlan(MasterValve)
	p.Supplies[0].Master.Output.Number = 7
	effects := g.step(&NewPlan{p})
	require.Len(t, closes(effects, PlanChanged), 1)
	require.False(t, g.open[Output{"north", 8}])
}

func TestGrantThatRanOutEndsTheRun(t *testing.T) {
	p := benchPlan(1, 3)
	p.Zones[0].Schedule.Windows[0].Shot.Value = 300
	for _, c := range []struct {
		held time.Duration
		ends bool
	}{{20 * time.Second, false}, {31 * time.Second, true}} {
		g := newRig(t, p)
		g.run(11*time.Second, 39) // opens at the 10th second: the grant lasts until the 40th
		require.Equal(t, Watering, g.zone("a").State)
		g.obey = false
		g.pass(c.held - time.Second)
		effects := append(g.report(), g.step(&Tick{})...)
		require.Equal(t, !c.ends, len(g.commands(effects, false)) == 0, "held up for %s", c.held)
		require.Equal(t, c.ends, len(closes(effects, ControllerOffline)) == 1)
	}
}

func TestAValveSeenOpenPastItsGrantsIsChargedUntilItCloses(t *testing.T) {
	g := newRig(t, benchPlan(1, 3))
	g.run(75*time.Second, 39) // opens at the 10th second, 60 s long
	require.Len(t, closes(g.got, ShotDone), 1)
	g = newRig(t, benchPlan(1, 3))
	g.run(20*time.Second, 39)
	g.obey = false // stuck: reports go on to show it open
	g.run(3*time.Minute, 39)
	g.open[Output{"north", 1}] = false
	g.epoch, g.seq = g.room.epoch, g.room.seq
	g.run(5*time.Second, 39)
	require.Greater(t, g.zone("a").UsedSeconds, 185.0, "all that it was seen open counts")
	require.True(t, g.order(Order{Kind: OrderReset, Subject: "a"}).Accepted)
	require.Equal(t, RestingStill, g.zone("a").Reason, "and rest counts from its end")
}

func TestAnOlderMemoryThanTheControllersIsALoss(t *testing.T) {
	p := benchPlan(1, 3)
	g := newRig(t, p)
	old := g.room.mem.Clone() // as from a copy of the state folder
	g2 := startRig(t, p, old, false)
	g2.epoch, g2.seq = 9, 3
	g2.pass(time.Second)
	g2.report()
	require.True(t, g2.room.mem.Spent)
}
