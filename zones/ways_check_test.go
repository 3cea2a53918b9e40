package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// breaches gives the invariants that one check of the room finds broken.
func (g *rig) breaches() (found []string) {
	g.room.out = g.room.out[:0]
	g.room.check()
	for _, e := range g.room.out {
		found = append(found, e.(*Breach).Invariant)
	}
	return found
}

// Each invariant that the room checks in production is broken by hand, and found.
func TestCheckFindsEachBreach(t *testing.T) {
	for name, c := range map[string]struct {
		spoil func(r *Room, run *run)
		want  []string
	}{
		"nothing":               {func(*Room, *run) {}, nil},
		"a run past its end":    {func(_ *Room, run *run) { run.end = run.openAt }, []string{"INV-1"}},
		"a grant of an hour":    {func(r *Room, run *run) { run.outs[0].deadline = r.t + time.Hour }, []string{"INV-2"}},
		"a charge on the way":   {func(r *Room, run *run) { r.durable = run.rec - 1 }, []string{"INV-3"}},
		"no charge":             {func(_ *Room, run *run) { run.outs[0].mem.Charges = nil }, []string{"INV-4"}},
		"a supply of none":      {func(r *Room, _ *run) { r.supplies[0].cfg.MaxOpen = 0 }, []string{"INV-6"}},
		"a smaller plan":        {func(r *Room, run *run) { r.supplies[0].cfg.MaxOpen, run.plan = 0, &Plan{} }, nil},
		"blind":                 {func(_ *Room, run *run) { run.zone.est.known = false }, []string{"INV-7"}},
		"a run of two hours":    {func(_ *Room, run *run) { run.end += 2 * time.Hour }, []string{"INV-18"}},
		"a soak's run":          {func(_ *Room, run *run) { run.reason, run.zone.soak = Soak, &soak{} }, nil},
		"a soak's run after it": {func(_ *Room, run *run) { run.reason = Soak }, []string{"INV-19"}},
		"no ledger":             {func(r *Room, _ *run) { r.storeBroken = "gone" }, []string{"INV-24"}},
		"no ledger, not opened": {func(r *Room, run *run) { r.storeBroken, run.valvesOn = "gone", false }, nil},
		"an output of no run":   {func(_ *Room, run *run) { run.zone.run = nil }, []string{"INV-29"}},
		"an output of no zone":  {func(_ *Room, run *run) { run.outs[0].zone = nil }, []string{"INV-29"}},
	} {
		t.Run(name, func(t *testing.T) {
			g := newRig(t, benchPlan(2, 2))
			g.run(20*time.Second, 35)
			run := g.room.zoneBy["a"].run
			require.True(t, run.valvesOn)
			c.spoil(g.room, run)
			require.Equal(t, c.want, g.breaches())
		})
	}
}

// A master is held by its supply, not by a run.
func TestCheckOfAMaster(t *testing.T) {
	g := newRig(t, masterPlan(MasterValve))
	g.run(20*time.Second, 35)
	require.Empty(t, g.breaches())
	g.room.supplies[0].masterOn = false
	require.Equal(t, []string{"INV-29"}, g.breaches())
}

// What a step finds at once is told in that step.
func TestBreachIsTold(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	g.run(20*time.Second, 35)
	g.room.zoneBy["a"].run.outs[0].mem.Charges = nil
	g.pass(time.Second)
	g.room.dirty = true
	var told []string
	for _, e := range g.room.Step(g.now, &Tick{}) {
		if b, ok := e.(*Breach); ok {
			require.Contains(t, b.Detail, "has no charge on north/1")
			told = append(told, b.Invariant)
		}
	}
	require.Equal(t, []string{"INV-4"}, told)
}

func TestQuietWaitsForEveryOutput(t *testing.T) {
	g := newRig(t, benchPlan(2, 2))
	require.True(t, g.room.Quiet())
	g.run(20*time.Second, 35)
	require.False(t, g.room.Quiet(), "a valve is open")
	g.step(&Shutdown{})
	require.True(t, g.room.Quiet(), "the report shows it closed")
	require.Empty(t, g.step(&Shutdown{}), "the end comes once")
	require.True(t, g.room.ended)
	g.run(time.Minute, 35)
	require.Empty(t, g.commands(g.got[len(g.got)-1:], true))
	require.Equal(t, Starting, g.zone("a").Reason)
	require.Contains(t, g.zone("a").Because, "the daemon is ending")
}

// Next says when a tick has something to do.
func TestNextTick(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	require.Greater(t, g.room.Next(), g.now.Mono)
	g.room.dirty = true
	require.Equal(t, g.now.Mono, g.room.Next(), "something changed: at once")
	g.room.dirty, g.room.next, g.room.controllers = false, forever, nil
	require.Equal(t, forever, g.room.Next())
}

// The mirror's memory has the age of now, and shares nothing with the room.
func TestMemoryIsACopy(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	g.step(&Reading{Place: Place{"north", 9, "A"}, Moisture: 40000, HasMoisture: true})
	require.True(t, g.order(Order{Kind: OrderAssign, Subject: "north-9-ua", Zone: "a"}).Accepted)
	m := g.room.Memory()
	require.Equal(t, g.room.t, m.Age)
	require.Contains(t, m.Probes, "north/9/A")
	m.Probes["north/9/A"].Zone = "b"
	require.Equal(t, "a", g.room.mem.Probes["north/9/A"].Zone)
}

// An event that is none, or that goes back in time, changes nothing for the worse.
func TestStepOfNothing(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	g.run(20*time.Second, 35)
	was := g.room.t
	back := g.now
	back.Mono -= time.Hour
	require.Empty(t, g.commands(g.room.Step(back, nil), true))
	require.Equal(t, was, g.room.t, "an earlier instant counts as the last")
}
