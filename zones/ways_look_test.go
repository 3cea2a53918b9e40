package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/schedule"
)

// An alarm stays over a plan that keeps its subject, and goes with it.
func TestAlarmsOverAPlan(t *testing.T) {
	g := newRig(t, benchPlan(2, 2))
	g.step(&Status{Controller: "north"})
	g.step(&Reading{Place: Place{"north", 1, "0"}, Moisture: 99000, HasMoisture: true})
	p := benchPlan(2, 2)
	p.Hash = "0001"
	g.step(&NewPlan{p})
	require.NotNil(t, g.room.alarm(ControllerOffline, "north"))
}

// A daily limit that a window met stays told while the window's shot cannot be reckoned
// no more.
func TestOverBudgetOfAWindowThatCannotBeReckoned(t *testing.T) {
	p := benchPlan(1, 2)
	p.Zones[0].Limits.MaxPerDay = 30 * time.Second
	g := newRig(t, p)
	g.run(20*time.Second, 35)
	z := g.room.zoneBy["a"]
	require.NotNil(t, g.room.alarm(DailyLimit, "a"))
	g.run(20*time.Second, 45)
	require.NotNil(t, g.room.alarm(DailyLimit, "a"), "the window is still open, and its shot does not fit")
	z.window().Shot = schedule.Shot{Kind: schedule.ByMillilitres}
	require.False(t, g.room.overBudget(z))
}

// A zone without a supply that waits for ever is not refused, but it gets dry all the same.
func TestZoneThatNobodyServes(t *testing.T) {
	g := newRig(t, loosePlan())
	g.step(&InputState{Controller: "north", ID: "low"})
	g.run(30*time.Second, 35)
	require.True(t, g.room.zoneBy["a"].waiting)
	require.Empty(t, g.room.zoneBy["a"].reason)
}

// Probes that are lost and then taken out of the plan leave a zone that needs none.
func TestLostProbesThatLeaveThePlan(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	g.run(4*time.Minute, 0)
	require.NotZero(t, g.room.mem.Zones["a"].Lost)
	p := benchPlan(1, 0)
	p.Hash, p.Zones[0].Schedule.Windows[0].Below = "0001", 0 // by time
	g.step(&NewPlan{p})
	g.run(5*time.Hour, 0)
	require.NotEmpty(t, closes(g.got, ShotDone))
	require.Nil(t, g.room.alarm(ProbesLost, "a"))
	require.Nil(t, g.room.alarm(AlarmDry, "a"), "nothing it lacks")
}

// Of reports of one moment the higher pair is newer; one that names an output that was
// not shown yet is news.
func TestReportsOfOneMoment(t *testing.T) {
	require.True(t, newer(2, 1, 1, 9))
	require.True(t, newer(2, 2, 2, 1))
	require.False(t, newer(2, 1, 2, 1))
	require.False(t, newer(1, 9, 2, 1))
	g := newRig(t, benchPlan(2, 2))
	c := g.room.controlBy["north"]
	e := g.reportOf("north")
	n := c.reports
	c.outputs[1].shown = false
	g.step(e)
	require.Equal(t, n+1, c.reports)
}

// A valve that was never ours to open and that the last report to name it showed open.
func TestMaybeOpenByAnOldWord(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	o := g.room.outputs[0]
	o.confirmed, o.granted, o.shown, o.open, o.repAt = false, false, true, true, o.ctl.arrived-1
	require.True(t, o.maybeOpen(g.room.t))
	o.open = false
	require.False(t, o.maybeOpen(o.born+silentOpen))
}

// A clock that goes bad while a charge is on its way to the ledger: the shot of a window
// does not open, one by hand does.
func TestClockGoesBadWhileTheChargeIsOnItsWay(t *testing.T) {
	for _, hand := range []bool{false, true} {
		g := newRig(t, benchPlan(1, 2))
		g.mute = true
		if hand {
			require.True(t, g.order(Order{Kind: OrderShot, Zone: "a", For: time.Minute}).Accepted)
		} else {
			g.run(20*time.Second, 35)
		}
		require.Equal(t, recording, g.room.zoneBy["a"].run.phase)
		g.now.Trusted = false
		effects := g.step(&Tick{})
		effects = append(effects, g.step(&Recorded{Seq: g.room.recSeq})...)
		require.Equal(t, hand, len(g.commands(effects, true)) == 1, "by hand %t", hand)
	}
}

// A supply-low input that no supply names is waited for by all of them; one that names
// another supply by none but that.
func TestUnheardInputs(t *testing.T) {
	p := inputPlan()
	p.Controllers[0].Inputs = []Input{{ID: "low", Means: SupplyLow}}
	for low, waits := range map[string]bool{"": true, "low": true, "other": true} {
		p.Supplies[0].Low = low
		g := rawRig(t, p, NewMemory())
		g.run(10*time.Second, 45)
		require.Equal(t, waits, g.room.unheard(g.room.zoneBy["a"]) != nil, low)
	}
	p.Supplies[0].Low = ""
	p.Supplies = append(p.Supplies, Supply{ID: "rain", MaxOpen: 1, Low: "low"})
	g := rawRig(t, p, NewMemory())
	g.run(10*time.Second, 45)
	require.Nil(t, g.room.unheard(g.room.zoneBy["a"]), "it is the other supply's")
}

// A reset waits until the meter is still, and until the controller's boot has shown the
// valve: a start or a reboot mends none.
func TestResetOfAMismatchThatFlows(t *testing.T) {
	g := watering(t, benchPlan(1, 2))
	o := Output{"north", 1}
	g.flow[o] = 1
	g.order(Order{Kind: OrderStop})
	g.run(5*time.Second, 45)
	require.Equal(t, ValveLatched, g.valve("a"))
	g.open[o] = false
	a := g.order(Order{Kind: OrderReset, Zone: "a"})
	require.False(t, a.Accepted)
	require.Contains(t, a.Because, "still open or flowing")
	g.flow[o] = 0
	g.room.outputBy[o].shown = false
	a = g.order(Order{Kind: OrderReset, Zone: "a"})
	require.False(t, a.Accepted)
	require.Contains(t, a.Because, "has not told since it began")
	g.pass(time.Second)
	g.report()
	require.True(t, g.order(Order{Kind: OrderReset, Zone: "a"}).Accepted)
}

// Flow that a meter has shown for less than 10 s is no leak yet, also for a reset; a
// controller that is gone shows nothing.
func TestResetOfALeakThatFlows(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	o := Output{"north", 1}
	g.flow[o] = 1
	g.run(12*time.Second, 45)
	require.NotNil(t, hasLatch(g.room.mem.Latches, LeakFound))
	g.flow[o] = 0
	g.run(2*time.Second, 45)
	g.flow[o] = 1
	g.run(3*time.Second, 45)
	require.True(t, g.order(Order{Kind: OrderReset}).Accepted, "3 s of flow")
	g.run(5*time.Second, 45)
	g.step(&Status{Controller: "north"})
	require.Equal(t, forever, g.room.leakSince)
}

// Without an estimate the judgement waits for the next one.
func TestResponseIsJudgedWithAnEstimate(t *testing.T) {
	p := respondPlan()
	p.Zones[0].Moisture.StaleAfter = 30 * time.Second
	g := newRig(t, p)
	g.run(27*time.Minute, 35)
	require.NotZero(t, g.room.mem.Zones["a"].Response.JudgeAt)
	g.run(20*time.Minute, 0)
	require.Nil(t, g.room.alarm(NoResponse, "a"))
	g.run(30*time.Second, 35)
	require.NotNil(t, g.room.alarm(NoResponse, "a"))
}

// The wall clock that steps within a window changes nothing for a zone that waits.
func TestStepOfTheClockWhileWaiting(t *testing.T) {
	g := watering(t, benchPlan(2, 2))
	g.run(10*time.Second, 35)
	z := g.room.zoneBy["b"]
	require.True(t, z.waiting)
	g.now.Wall = z.sit.Since.Add(-time.Second).Add(time.Hour)
	z.sit.Until = g.now.Wall
	g.step(&Tick{})
	require.True(t, z.waiting)
	require.False(t, z.passed, "it is the same window")
}

// The timed fallback needs probes that were lost, and a shot that can be reckoned.
func TestFallbackThatCannotBe(t *testing.T) {
	p := benchPlan(1, 0)
	p.Zones[0].Lost = &Fallback{Shot: schedule.Shot{Value: 30}, Every: 10 * time.Minute, MaxPerDay: time.Hour}
	g := newRig(t, p)
	g.run(15*time.Minute, 0)
	require.Empty(t, g.commands(g.got, true), "a zone without probes has none to lose")

	p = benchPlan(1, 2)
	p.Zones[0].EmitterLPH = 0
	p.Zones[0].Lost = &Fallback{Shot: schedule.Shot{Kind: schedule.ByPercent, Value: 1}, Every: 10 * time.Minute, MaxPerDay: time.Hour}
	g = newRig(t, p)
	g.run(20*time.Minute, 0)
	require.Empty(t, g.commands(g.got, true), "its emitters are not known")
}

// A run that waits for its charge holds no master yet, and takes none over.
func TestMasterIsNotHandedToARunThatHasNotOpened(t *testing.T) {
	p := masterPlan(MasterValve)
	p.Supplies[0].MaxOpen = 2
	g := newRig(t, p)
	require.True(t, g.order(Order{Kind: OrderShot, Zone: "a", For: 2 * time.Minute}).Accepted)
	g.run(5*time.Second, 45)
	g.mute = true
	require.True(t, g.order(Order{Kind: OrderShot, Zone: "b", For: 2 * time.Minute}).Accepted)
	g.run(2*time.Second, 45)
	require.False(t, g.room.zoneBy["b"].run.masterOn)
	g.room.supplies[0].handOver = true
	g.room.handOverMasters()
	require.False(t, g.room.zoneBy["b"].run.masterOn)
	g.order(Order{Kind: OrderStop, Zone: "a"})
	require.False(t, g.room.supplies[0].masterOn, "nobody else needs it yet")
	g.run(3*time.Second, 45)
	require.True(t, g.room.supplies[0].master.confirmed)
}

// Before the clock was ever trusted nothing is known of a zone's schedule: one without
// windows is not called dry.
func TestZoneWithoutWindowsBeforeTheClock(t *testing.T) {
	p := benchPlan(1, 2)
	p.Zones[0].Schedule = schedule.Zone{}
	g := &rig{t: t, boot: "b1", obey: true, open: map[Output]bool{}, flow: map[Output]float64{}, up: time.Hour,
		now: Instant{Wall: time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC), Mono: time.Hour}}
	var effects []Effect
	g.room, effects = NewRoom(p, NewMemory(), g.now)
	g.took(effects)
	g.step(&BrokerLink{Up: true})
	g.run(40*time.Second, 45)
	require.Equal(t, Fallow, g.zone("a").State)
	require.Nil(t, g.room.alarm(AlarmDry, "a"))
}

// Inputs and latches in words, whichever they are.
func TestInputWords(t *testing.T) {
	g := newRig(t, inputPlan())
	g.hearInputs(nil)
	require.Empty(t, inputWords(nil))
	in := g.room.inputs[0]
	in.active = true
	require.Contains(t, inputWords(in), "is active")
	in.active, in.known = false, false
	require.Contains(t, inputWords(in), "was never heard")
	require.Empty(t, latchWords(NoResponse)(g.room, &zone{id: "x"}, nil), "no supply, no master")
	c := g.room.controlBy["north"]
	c.online, c.driftBad = true, false
	require.NotContains(t, controllerWords(c), "runs off")
}

// A run whose output is another's, or of a boot that ended, sets no limit by its grants.
func TestLimitByTheControllersTime(t *testing.T) {
	g := watering(t, benchPlan(1, 2))
	run := g.room.zoneBy["a"].run
	o := run.outs[0]
	o.firstUp -= 30 * time.Second
	require.Equal(t, run.end-30*time.Second, g.room.limit(run), "a grant that was reckoned from an older uptime")
	o.run = "another"
	require.Equal(t, forever, g.room.limit(run))
	o.run, o.untilBoot = run.id, "before"
	require.Equal(t, forever, g.room.limit(run))
	o.untilBoot, o.deadline = o.ctl.boot, run.end
	o.ctl.last += 2 * time.Minute
	g.pass(2 * time.Minute) // one look, past the limit and the end
	es := closes(g.step(&Tick{}), ShotDone)
	require.Len(t, es, 1)
	require.Equal(t, "1 min is given", es[0].Because)
}

// Another run of the same master, or a boot that is new, takes its grant as it comes,
// also one that ends sooner.
func TestGrantThatEndsSooner(t *testing.T) {
	g := watering(t, benchPlan(1, 2))
	run := g.room.zoneBy["a"].run
	o := run.outs[0]
	o.until += time.Hour
	require.Empty(t, g.grants(func() { g.room.grant(o, run, run.length) }), "the controller would only be told less")
	o.untilBoot = "before"
	require.Len(t, g.grants(func() { g.room.grant(o, run, run.length) }), 1)
	o.until += time.Hour
	other := *run
	other.id = "another"
	require.Empty(t, g.grants(func() { g.room.grant(o, run, run.length) }))
	require.Empty(t, g.grants(func() { g.room.grant(o, &other, run.length) }), "the controller keeps the later end, whoever's it is")
}

// grants gives the commands that a call puts out.
func (g *rig) grants(call func()) []*Command {
	g.room.out = g.room.out[:0]
	call()
	return g.commands(g.room.out, true)
}

// The lights of the calendar, from an instant on; unknown, they count as on.
func TestLightsFromAnInstantOn(t *testing.T) {
	g := newRig(t, benchPlan(1, 2)) // lit from 6 to 18 h
	at := func(h, m, s int) time.Time { return time.Date(2027, 3, 1, h, m, s, 0, time.UTC) }
	l := g.room.lights(at(8, 0, 0))
	require.True(t, l.On)
	require.Equal(t, 10*time.Hour, l.Switches[0])
	fresh := l
	ago := g.room.lights(at(8, 0, 0).AddDate(0, 0, -3)) // a zone that was heard three days ago
	require.True(t, ago.On)
	require.Equal(t, 10*time.Hour, ago.Switches[0])
	known := g.room.lightsFor
	n := len(fresh.Switches)
	require.Equal(t, fresh.Switches, g.room.lights(at(8, 0, 0)).Switches[:n], "and one that is heard now")
	g.room.lights(at(8, 0, 0).AddDate(0, 0, -3))
	require.Equal(t, known, g.room.lightsFor, "one look at the calendar serves both")
	g.room.plan.Calendar.Days[0].Off += 10 * time.Second
	l = g.room.lights(at(18, 0, 30))
	require.False(t, l.On, "they went off within this minute")
	require.Equal(t, 12*time.Hour-30*time.Second, l.Switches[0])
	g.room.now.Trusted = false
	require.True(t, g.room.lights(at(20, 0, 0)).On)
	g.room.now.Trusted = true
	g.room.plan.Calendar.Days = nil
	require.True(t, g.room.lights(at(20, 0, 0)).On)
	require.True(t, *g.room.lightsNow(), "without times of lights they count as on")
	require.Empty(t, g.step(&Taught{Zone: "none"}), "what was learned of a zone that is gone")
}

// A second gateway is outranked by a reset also while another cause still stands, which
// the reset leaves latched.
func TestResetOutranksWhileALeakStands(t *testing.T) {
	g := newRig(t, inputPlan())
	g.hearInputs(map[string]bool{"floor": true})
	high := g.reportOf("north")
	high.Epoch, high.Uptime = high.Epoch+5, high.Uptime+time.Second
	g.step(high)
	require.NotNil(t, hasLatch(g.room.mem.Latches, SecondGateway))
	require.True(t, g.order(Order{Kind: OrderReset}).Accepted)
	require.Greater(t, g.room.epoch, high.Epoch)
	require.NotNil(t, hasLatch(g.room.mem.Latches, LeakFound))
}

// Age goes on between steps, and never behind the last one.
func TestAge(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	was := g.room.Age(g.now)
	require.Equal(t, g.room.t, was)
	later, before := g.now, g.now
	later.Mono += time.Second
	before.Mono -= time.Hour
	require.Equal(t, was+time.Second, g.room.Age(later))
	require.Equal(t, was, g.room.Age(before))
}

// What dries slowly is said with the day.
func TestDryingFarOff(t *testing.T) {
	g := newRig(t, taughtPlan())
	z := g.room.zones[0]
	g.step(&Taught{Zone: z.id, Day: learned(0.1, 0.01), Night: learned(0.1, 0.01)})
	g.wet(41)
	require.Regexp(t, `reaches 38 % at about (Mon|Tue|Wed) \d\d:\d\d`, g.room.dryingWords(z, g.room.t))
}
