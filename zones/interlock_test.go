package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/schedule"
)

// respondPlan waters by shots of 3 % (195 mL, 175.5 s) under 40 %, every 20 min at most.
func respondPlan() *Plan {
	p := benchPlan(1, 3)
	p.Zones[0].Schedule.Windows[0].Shot = schedule.Shot{Kind: schedule.ByPercent, Value: 3}
	p.Zones[0].Schedule.Windows[0].Rest = 20 * time.Minute
	return p
}

func TestNoResponse(t *testing.T) {
	for _, c := range []struct {
		rise    float64 // after the first shot
		latched bool
	}{{1.4, true}, {1.6, false}} { // two shots of 3 points: a quarter is 1.5
		g := newRig(t, respondPlan())
		effects := g.run(4*time.Minute, 35)
		require.Len(t, closes(effects, ShotDone), 1)
		effects = g.run(23*time.Minute, 35+c.rise)
		require.Len(t, closes(effects, ShotDone), 1)
		g.run(12*time.Minute, 35)
		require.Nil(t, g.room.alarm(NoResponse, "a"), "judged 15 min after the close")
		g.run(4*time.Minute, 35)
		latched := g.room.alarm(NoResponse, "a") != nil
		require.Equal(t, c.latched, latched, "a rise of %.1f points", c.rise)
		if latched {
			require.Equal(t, Latched, g.zone("a").State)
			require.True(t, g.order(Order{Kind: OrderShot, Zone: "a", For: 10 * time.Second}).Reason != NoResponse, "it does not bind a shot by hand")
			require.True(t, g.order(Order{Kind: OrderReset, Zone: "a"}).Accepted)
		}
	}
}

func TestNoResponseSurvivesARestart(t *testing.T) {
	p := respondPlan()
	g := newRig(t, p)
	g.run(27*time.Minute, 35)
	require.Equal(t, 2, g.room.mem.Zones["a"].Response.Shots)
	m := g.room.mem.Clone()
	g = rawRig(t, p, m)
	g.run(17*time.Minute, 35)
	require.NotNil(t, g.room.alarm(NoResponse, "a"))
}

func TestShotsNearTheFieldLevelDoNotCount(t *testing.T) {
	for _, c := range []struct {
		level float64
		shots int
	}{{38, 0}, {37.9, 1}} {
		p := respondPlan()
		w := &p.Zones[0].Schedule.Windows[0]
		w.Below, w.StopAt = 39000, 40000
		g := newRig(t, p)
		g.run(4*time.Minute, c.level)
		require.Equal(t, c.shots, g.room.mem.Zones["a"].Response.Shots, "opened at %.1f %%, stop_at 40 %%", c.level)
	}
}

func TestLeakByRise(t *testing.T) {
	for _, c := range []struct {
		name string
		up   float64
		of   int // probes that rise, of three
		leak bool
	}{{"two rise by 5", 5, 2, true}, {"two rise by less", 4.9, 2, false}, {"one rises", 9, 1, false}} {
		t.Run(c.name, func(t *testing.T) {
			g := newRig(t, benchPlan(1, 3))
			for i := range 8 {
				g.run(59*time.Second, 0)
				for k, p := range g.room.plan.Probes {
					level := 45.0
					if i >= 4 && k < c.of {
						level += c.up
					}
					g.step(&Reading{Place: p.Place, Moisture: Level(level*1000 + .5), HasMoisture: true})
				}
			}
			leak := g.room.alarm(LeakFound, "a") != nil
			require.Equal(t, c.leak, leak)
		})
	}
}

func TestRiseAfterARunIsNoLeak(t *testing.T) {
	for _, c := range []struct {
		after time.Duration
		leak  bool
	}{{29 * time.Minute, false}, {31 * time.Minute, true}} {
		p := benchPlan(1, 3)
		p.Zones[0].Schedule.Windows[0].MaxShots = 1
		g := newRig(t, p)
		g.run(75*time.Second, 39)
		require.Len(t, closes(g.got, ShotDone), 1)
		g.run(c.after, 39)
		g.run(time.Minute/2, 46)
		leak := g.room.alarm(LeakFound, "a") != nil
		require.Equal(t, c.leak, leak, "%s after the run", c.after)
	}
}

func TestLeakByFlow(t *testing.T) {
	g := newRig(t, benchPlan(1, 3))
	g.flow[Output{"north", 1}] = 0
	g.run(time.Minute, 45)
	require.Empty(t, g.room.mem.Latches)
	g.flow[Output{"north", 1}] = 1.5
	g.run(9*time.Second, 45)
	require.Nil(t, hasLatch(g.room.mem.Latches, LeakFound))
	g.run(2*time.Second, 45)
	require.NotNil(t, hasLatch(g.room.mem.Latches, LeakFound))
	require.False(t, g.order(Order{Kind: OrderReset, Subject: "room"}).Accepted)
	g.flow[Output{"north", 1}] = 0
	g.run(2*time.Second, 45)
	require.True(t, g.order(Order{Kind: OrderReset, Subject: "room"}).Accepted)
}

func inputPlan() *Plan {
	p := benchPlan(1, 3)
	p.Controllers[0].Inputs = []Input{{ID: "low", Means: SupplyLow}, {ID: "floor", Means: Leak}, {ID: "button", Means: StopInput}, {ID: "lamps", Means: Lights}}
	p.Supplies[0].Low = "low"
	return p
}

// hearInputs lets every input be heard.
func (g *rig) hearInputs(active map[string]bool) {
	for _, in := range g.room.inputs {
		g.step(&InputState{Controller: "north", ID: in.cfg.ID, Active: active[in.cfg.ID]})
	}
}

func TestInputs(t *testing.T) {
	for _, c := range []struct {
		id      string
		reason  Reason
		latched bool
	}{{"low", SupplyIsLow, false}, {"floor", LeakFound, true}, {"button", StoppedByPerson, true}} {
		g := newRig(t, inputPlan())
		g.hearInputs(nil)
		g.run(20*time.Second, 39)
		require.Equal(t, Watering, g.zone("a").State)
		effects := g.step(&InputState{Controller: "north", ID: c.id, Active: true, Retained: true})
		require.Len(t, g.commands(effects, false), 1, "active counts at once, retained or not")
		require.Equal(t, c.reason, g.zone("a").Reason)
		g.hearInputs(nil)
		g.run(time.Second, 39)
		require.Equal(t, c.latched, g.zone("a").Reason == c.reason, c.id)
		if c.latched {
			require.True(t, g.order(Order{Kind: OrderReset, Subject: "room"}).Accepted)
		}
	}
}

func TestInputNeverHeardForbidsUnlatched(t *testing.T) {
	g := rawRig(t, inputPlan(), NewMemory())
	g.run(45*time.Second, 39)
	require.Equal(t, StoppedByPerson, g.zone("a").Reason, "first in order of the silent ones")
	g.hearInputs(nil)
	g.run(time.Second, 39)
	require.Equal(t, Watering, g.zone("a").State)
	g.run(2*time.Minute+55*time.Second, 39)
	require.NotEqual(t, StoppedByPerson, g.zone("a").Reason)
	g.run(10*time.Second, 39)
	require.Equal(t, StoppedByPerson, g.zone("a").Reason, "silent for 3 min while its controller reports")
}

func TestRetainedInactiveNeedsItsController(t *testing.T) {
	g := newRig(t, inputPlan())
	g.step(&InputState{Controller: "north", ID: "low", Active: true})
	g.step(&Status{Controller: "north"})
	g.step(&InputState{Controller: "north", ID: "low", Retained: true})
	require.True(t, g.room.inputs[0].active, "a retained inactive clears nothing while its controller is silent")
	g.pass(time.Second)
	g.report()
	g.step(&InputState{Controller: "north", ID: "low", Retained: true})
	require.False(t, g.room.inputs[0].active)
}

func TestOverWet(t *testing.T) {
	g := newRig(t, benchPlan(1, 3))
	g.run(20*time.Second, 39)
	g.run(10*time.Second, 69.9)
	require.Equal(t, Watering, g.zone("a").State)
	effects := g.run(10*time.Second, 70)
	require.Len(t, closes(effects, OverWet), 1)
	require.Equal(t, OverWet, g.order(Order{Kind: OrderShot, Zone: "a", For: time.Minute}).Reason)
}

func TestLosingTheQuorumEndsARun(t *testing.T) {
	p := benchPlan(1, 3)
	p.Zones[0].Schedule.Windows[0].Shot = schedule.Shot{Value: 300}
	g := newRig(t, p)
	g.run(20*time.Second, 39)
	require.Equal(t, Watering, g.zone("a").State)
	effects := g.run(3*time.Minute, 0)
	require.Empty(t, closes(effects, ProbesLost))
	effects = g.run(2*time.Second, 0)
	require.Len(t, closes(effects, ProbesLost), 1, "within stale_after and 2 s")
}

func TestHoldEndsOnAge(t *testing.T) {
	g := newRig(t, benchPlan(1, 3))
	require.False(t, g.order(Order{Kind: OrderHold, Zone: "a", For: 25 * time.Hour}).Accepted)
	require.True(t, g.order(Order{Kind: OrderHold, Zone: "a", For: time.Minute, Source: "socket"}).Accepted)
	g.now.Wall = g.now.Wall.Add(5 * time.Hour)
	g.run(58*time.Second, 39)
	require.Equal(t, HeldByPerson, g.zone("a").Reason)
	require.False(t, g.order(Order{Kind: OrderRelease, Zone: "a", Source: "mqtt"}).Accepted)
	g.run(3*time.Second, 39)
	require.Equal(t, Watering, g.zone("a").State)
}

func TestUnsureClock(t *testing.T) {
	g := newRig(t, benchPlan(1, 3))
	g.run(20*time.Second, 39)
	g.now.Trusted = false
	effects := g.run(20*time.Minute, 39)
	require.Len(t, closes(effects, ShotDone), 1, "a run goes on")
	require.Empty(t, g.commands(g.run(10*time.Minute, 39), true), "windows wait")
	require.Equal(t, ClockUnsure, g.zone("a").Reason)
	require.True(t, g.order(Order{Kind: OrderShot, Zone: "a", For: time.Minute}).Accepted, "a shot by hand does not")
}

func TestDry(t *testing.T) {
	p := benchPlan(1, 3)
	p.Zones[0].Dry = &DryRule{Below: 38000, For: 20 * time.Minute}
	p.Zones[0].Limits.MaxPerDay = time.Second // nothing fits
	g := newRig(t, p)
	g.run(40*time.Minute, 38)
	require.Nil(t, g.room.alarm(AlarmDry, "a"), "at the level")
	g.run(20*time.Minute, 37.9)
	require.Nil(t, g.room.alarm(AlarmDry, "a"))
	g.run(15*time.Second, 37.9)
	require.NotNil(t, g.room.alarm(AlarmDry, "a"))
	g.run(time.Minute, 38)
	require.Nil(t, g.room.alarm(AlarmDry, "a"))
}

func TestDryWithoutASetting(t *testing.T) {
	p := benchPlan(1, 3)
	p.Zones[0].Limits.MaxPerDay = time.Second
	g := newRig(t, p)
	g.run(4*time.Hour-time.Minute, 39)
	require.Nil(t, g.room.alarm(AlarmDry, "a"))
	g.run(2*time.Minute, 39)
	require.NotNil(t, g.room.alarm(AlarmDry, "a"), "refused for 4 h")

	g = newRig(t, p)
	g.run(11*time.Minute, 40) // falls slowly enough to be believed
	g.run(2*time.Hour, 34.9)
	require.Nil(t, g.room.alarm(AlarmDry, "a"))
	g.run(time.Minute, 34.9)
	require.NotNil(t, g.room.alarm(AlarmDry, "a"), "2 h more than 5 points under its lowest level")

	g = newRig(t, p)
	g.run(4*time.Hour+2*time.Minute, 0)
	require.Nil(t, g.room.alarm(AlarmDry, "a"))
	g.run(2*time.Minute, 0)
	require.NotNil(t, g.room.alarm(AlarmDry, "a"), "4 h without an estimate")
}

func TestPlanThatDropsARunningZone(t *testing.T) {
	g := newRig(t, benchPlan(2, 3))
	g.run(20*time.Second, 39)
	require.Equal(t, Watering, g.zone("a").State)
	p := benchPlan(2, 3)
	p.Zones, p.Valves, p.Probes = p.Zones[1:], p.Valves[1:], p.Probes[3:]
	effects := g.step(&NewPlan{p})
	require.Len(t, closes(effects, PlanChanged), 1)
	require.False(t, g.open[Output{"north", 1}])
	g.run(70*time.Second, 0)
	require.InDelta(t, 10, g.room.mem.Outputs["north/1"].used(g.room.t, "").Seconds(), 2, "its charge is settled though the zone is gone")
}

func TestPlanOnlyShortensARun(t *testing.T) {
	g := newRig(t, benchPlan(1, 3))
	g.run(20*time.Second, 39) // opened 10 s ago, 60 s long
	longer := benchPlan(1, 3)
	longer.Zones[0].Schedule.Windows[0].Shot.Value = 300
	g.step(&NewPlan{longer})
	shorter := benchPlan(1, 3)
	shorter.Zones[0].Limits.MaxRun = 30 * time.Second
	g.step(&NewPlan{shorter})
	effects := g.run(18*time.Second, 39)
	require.Empty(t, closes(effects, MaxRunReached))
	effects = g.run(3*time.Second, 39)
	require.NotEmpty(t, g.commands(effects, false))
	require.Len(t, closes(effects, MaxRunReached), 1)
}

func TestNoResponseJudgesTheShotsThatMadeItSo(t *testing.T) {
	p := benchPlan(1, 3) // 60 s are worth 1.03 points: the third shot makes 2.5
	p.Zones[0].Schedule.Windows[0].Rest = 5 * time.Minute
	g := newRig(t, p)
	g.run(3*time.Minute, 38)
	g.run(25*time.Minute, 38.9) // 0.9 is more than a quarter of 3.1, less than one of 4.1
	require.Nil(t, g.room.alarm(NoResponse, "a"))
}

func TestOmittedOutputIsNotSaidToBeOpenForEver(t *testing.T) {
	g := newRig(t, benchPlan(1, 3))
	g.run(20*time.Second, 39)
	require.Equal(t, ValveOpen, g.valve("a"))
	g.obey = false
	for range 60 {
		g.pass(time.Second)
		rep := g.reportOf("north")
		rep.Outputs = nil
		g.step(rep)
		g.wet(39)
		g.step(&Tick{})
	}
	require.Equal(t, ValveClosed, g.valve("a"), "its grant has run out")
}

func TestOrderOfReasonsWithoutAnEstimate(t *testing.T) {
	g := newRig(t, benchPlan(1, 3))
	g.run(4*time.Minute, 0)
	require.Equal(t, ProbesLost, g.zone("a").Reason)
	g.step(&BrokerLink{Up: false})
	require.Equal(t, BrokerLost, g.zone("a").Reason, "the broker comes before the probes")
}

func TestOpensOnlyOnceInputsWereHeard(t *testing.T) {
	p := inputPlan()
	g := rawRig(t, p, NewMemory())
	g.pass(40 * time.Second) // silent through the boot hold
	g.wet(39)
	g.step(&Tick{})
	g.run(12*time.Second, 39)
	require.Equal(t, Starting, g.zone("a").Reason)
	g.hearInputs(nil)
	require.Equal(t, Watering, g.zone("a").State)
}

// Two shots that each raised what they should, with a night of drying between: the
// zone answers, although it never stood much over where the first of them began.
func TestShotsOverADryNight(t *testing.T) {
	for _, c := range []struct {
		morning float64 // after the second shot, which began at 30 %
		latched bool
	}{{30.4, true}, {30.6, false}} { // with 1 point of the first: a quarter of 6 is 1.5
		g := newRig(t, respondPlan())
		require.Len(t, closes(g.run(4*time.Minute, 39), ShotDone), 1)
		g.run(20*time.Minute, 40)
		g.run(5*time.Hour, 40)
		require.Len(t, closes(g.run(4*time.Minute, 30), ShotDone), 1)
		g.run(16*time.Minute, c.morning)
		require.Equal(t, c.latched, g.alarmed(NoResponse, "a"), "%.1f", c.morning)
	}
}
