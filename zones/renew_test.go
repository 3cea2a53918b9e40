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
