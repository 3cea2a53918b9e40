package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// quiet lets time pass in small steps, with no word from anybody.
func (g *rig) quiet(d time.Duration) []Effect {
	before := len(g.got)
	for end := g.now.Mono + d; g.now.Mono < end; {
		g.pass(50 * time.Millisecond)
		g.step(&Tick{})
	}
	return g.got[before:]
}

// A renewal is due a third of a lease after the grant. It goes on a report that is at
// most 0.15 s old, else on the next: a valve whose reports nobody hears any more
// closes within its lease and 0.2 s of the last one.
func TestRenewalGoesOnAFreshWord(t *testing.T) {
	for _, c := range []struct {
		age  time.Duration // of the newest report when the renewal is due
		sent bool
	}{{150 * time.Millisecond, true}, {200 * time.Millisecond, false}} {
		g := newRig(t, respondPlan())
		g.wet(35)
		opened := g.commands(g.got, true)
		require.NotEmpty(t, opened)
		g.obey = false
		third := g.room.plan.Lease / 3
		g.quiet(third - c.age - (g.now.Mono + g.room.base - g.room.zones[0].run.renewed))
		g.report()
		effects := g.quiet(c.age)
		require.Equal(t, c.sent, len(g.commands(effects, true)) == 1, "%s old", c.age)
		if c.sent {
			continue
		}
		require.Empty(t, g.commands(g.quiet(3*time.Second), true), "nothing on an old word")
		effects = g.report()
		require.Len(t, g.commands(effects, true), 1, "the next word brings it")
		up := g.reportOf("north").Uptime
		require.Equal(t, (up + g.room.plan.Lease).Milliseconds(), g.commands(effects, true)[0].UntilMS)
	}
}

// Reports that waited come all at once: what was reckoned from the first of them is
// reckoned anew when a newer one shows that it is short.
func TestGrantReckonedFromAReportThatWaited(t *testing.T) {
	g := newRig(t, respondPlan())
	g.wet(35)
	require.NotEmpty(t, g.commands(g.got, true))
	lease := g.room.plan.Lease
	made := []*Report{}
	for range 4 { // the gateway stands still meanwhile
		g.pass(lease / 6)
		made = append(made, g.reportOf("north"))
	}
	g.obey = false
	opens := g.commands(g.step(made[0]), true)
	for _, e := range made[1:] {
		opens = append(opens, g.commands(g.step(e), true)...)
	}
	require.NotEmpty(t, opens)
	want := made[3].Uptime + lease
	require.Equal(t, want.Milliseconds(), opens[len(opens)-1].UntilMS)
	require.Empty(t, g.commands(g.step(made[3]), true), "the same again")
}

// A master whose grants end early by its controller's time ends the run with them.
func TestMastersGrantsEndTheRun(t *testing.T) {
	g := watering(t, masterPlan(MasterValve))
	run := g.room.zoneBy["a"].run
	require.Equal(t, opened, run.phase)
	require.Equal(t, forever, g.room.limit(run))
	run.supply.master.firstUp -= 10 * time.Second
	require.Equal(t, run.end-10*time.Second, g.room.limit(run))
	run.phase = leading
	require.Equal(t, forever, g.room.limit(run), "nothing flows yet")
}

// A first grant that was reckoned from a late report ends early by its controller's own
// time: so does the run, which then says how much was granted.
func TestRunThatBeganOnALateReport(t *testing.T) {
	const late = 10 * time.Second
	g := newRig(t, respondPlan())
	g.pass(time.Second)
	waited := g.reportOf("north")
	g.pass(late) // on the gateway's side of the link
	g.step(waited)
	g.wet(35)
	run := g.room.zones[0].run
	require.NotNil(t, run)
	require.Equal(t, opened, run.phase)
	require.Equal(t, run.end-late, g.room.limit(run))
	g.run(run.length-late-time.Second, 45)
	require.Same(t, run, g.room.zones[0].run, "it gets all that was granted")
	g.run(time.Second, 45)
	require.Nil(t, g.room.zones[0].run)
	require.False(t, g.open[Output{"north", 1}])
	for _, e := range g.got {
		if x, ok := e.(*Entry); ok && x.Kind == "run-closed" {
			require.Equal(t, ShotDone, x.Reason)
			require.Equal(t, words(run.length-late)+" was granted: the gateway was held up as the run began", x.Because)
			return
		}
	}
	t.Fatal("nothing closed")
}

// What is short by the controller's time is renewed at once; what a boot that ended had,
// what is not told to open, and another run's grant are not.
func TestWhatIsShort(t *testing.T) {
	for name, c := range map[string]struct {
		spoil func(o *output)
		want  bool
	}{
		"by ten seconds":      {func(*output) {}, true},
		"by the slack":        {func(o *output) { o.until += 9 * time.Second }, false},
		"by a little more":    {func(o *output) { o.until += 9*time.Second - 1 }, true},
		"of another boot":     {func(o *output) { o.untilBoot = "b0" }, false},
		"of another run":      {func(o *output) { o.run = "r" }, false},
		"told to close":       {func(o *output) { o.wanted = false }, false},
		"at the run's bound":  {func(o *output) { o.firstUp = o.until - 3*time.Minute }, false},
		"a second from there": {func(o *output) { o.firstUp = o.until - 3*time.Minute + endSlack + 1 }, true},
	} {
		t.Run(name, func(t *testing.T) {
			g := watering(t, benchPlan(1, 2))
			run := g.room.zoneBy["a"].run
			o := run.outs[0]
			o.until = o.ctl.uptimeAt(g.room.t) + o.deadline - g.room.t - 10*time.Second
			c.spoil(o)
			require.Equal(t, c.want, g.room.short(o, run, 3*time.Minute))
		})
	}
}

// A master whose grant is short is renewed by the next report, also where those of the
// valves reach to the end of the run.
func TestMasterThatIsShortIsRenewed(t *testing.T) {
	g := newRig(t, masterPlan(MasterValve))
	g.run(55*time.Second, 39)
	run := g.room.zoneBy["a"].run
	require.NotNil(t, run)
	require.False(t, g.room.furtherGrant(run), "all reach to its end")
	require.Empty(t, g.commands(g.run(time.Second, 45), true))
	run.supply.master.until -= 8 * time.Second
	g.room.dirty = true // as a report makes it that shows the one before to be late
	require.True(t, g.room.furtherGrant(run))
	master := 0
	for _, c := range g.commands(g.run(time.Second, 45), true) {
		if c.Output == (Output{"north", 8}) {
			master++
		}
	}
	require.Equal(t, 1, master)
	require.False(t, g.room.furtherGrant(run))
}

// A master that leads for longer than a third of a lease is renewed on a fresh word before
// any valve of its run is open, and the valve is not granted before its time.
func TestMasterThatLeadsIsRenewedOnAFreshWord(t *testing.T) {
	for _, looked := range []bool{false, true} { // whatever else may have led to a look meanwhile
		p := masterPlan(MasterValve)
		p.Lease, p.Supplies[0].Master.Lead = LeaseMin, 8*time.Second
		g := newRig(t, p)
		g.wet(35)
		g.wet(35)
		run := g.room.zoneBy["a"].run
		require.NotNil(t, run)
		require.Equal(t, leading, run.phase)
		require.Empty(t, g.commands(g.quiet(5*time.Second), true), "no fresh word, no renewal")
		g.room.dirty = looked
		require.Empty(t, g.commands(g.step(&Tick{}), true), "a look is no word")
		require.Equal(t, looked, run.behind)
		g.obey = false
		effects := g.commands(g.report(), true)
		require.Len(t, effects, 1, "the next word brings it")
		require.Equal(t, Output{"north", 8}, effects[0].Output)
		require.Equal(t, leading, run.phase)
	}
}

// A renewal that waits for a word leads to no look before it comes, but the end of the grant
// does: a run whose controller says no more ends with its lease.
func TestRenewalThatWaitsForAWord(t *testing.T) {
	p := respondPlan()
	p.Lease = LeaseMin // less than a controller may be silent
	g := newRig(t, p)
	g.wet(35)
	z := g.room.zones[0]
	require.NotNil(t, z.run)
	deadline := z.run.outs[0].deadline
	looks := 0
	for z.run != nil {
		next := g.room.Next()
		g.pass(next - g.now.Mono)
		g.step(&Tick{})
		looks++
	}
	require.Equal(t, deadline+1, g.room.t)
	require.LessOrEqual(t, looks, 2, "no word, nothing to look at")
	for _, e := range g.got {
		if x, ok := e.(*Entry); ok && x.Kind == "run-closed" {
			require.Contains(t, x.Because, "before it was renewed")
			return
		}
	}
	t.Fatal("nothing closed")
}

// Of two controllers one may have a fresh word when a renewal is due and the other not:
// the one is renewed then, the other with its next word.
func TestRenewalOfTwoControllers(t *testing.T) {
	p := respondPlan()
	p.Controllers = append(p.Controllers, Controller{ID: "south"})
	p.Valves = append(p.Valves, Valve{ID: "b", Output: Output{"south", 1}, Supply: "feed"})
	p.Zones[0].Valves, p.Supplies[0].MaxOpen = []string{"a", "b"}, 2
	for _, first := range []string{"north", "south"} {
		g := newRig(t, p)
		g.wet(35)
		run := g.room.zones[0].run
		require.NotNil(t, run)
		g.obey = false
		third := p.Lease / 3
		g.quiet(third - 100*time.Millisecond - (g.now.Mono + g.room.base - run.renewed))
		g.step(g.reportOf(first))
		opens := g.commands(g.quiet(100*time.Millisecond), true)
		require.Len(t, opens, 1)
		require.Equal(t, first, opens[0].Output.Controller)
		require.Empty(t, g.commands(g.quiet(2*time.Second), true))
		opens = g.commands(g.report(), true)
		require.Len(t, opens, 1, "the other, and the one not again")
		require.NotEqual(t, first, opens[0].Output.Controller)
	}
}
