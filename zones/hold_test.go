package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A hold never makes one shorter that stands, and who set it at the box alone ends it.
func TestHoldsOverOneAnother(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	left := func() time.Duration { return g.room.zoneBy["a"].mem.HoldUntil - g.room.t }
	hold := func(d time.Duration, source Source) string {
		a := g.order(Order{Kind: OrderHold, Zone: "a", For: d, Source: source})
		require.True(t, a.Accepted)
		return a.Because
	}
	require.Contains(t, hold(time.Hour, "mqtt"), "is held for 1 h")
	require.Contains(t, hold(30*time.Minute, "mqtt"), "held already")
	require.InDelta(t, time.Hour, left(), float64(time.Minute))
	hold(30*time.Minute, "cli")
	require.InDelta(t, time.Hour, left(), float64(time.Minute), "taken over by the box, no shorter")
	require.False(t, g.order(Order{Kind: OrderRelease, Zone: "a", Source: "mqtt"}).Accepted)
	require.Contains(t, hold(2*time.Hour, "cli"), "is held for 2 h")
	hold(12*time.Hour, "mqtt")
	require.InDelta(t, 12*time.Hour, left(), float64(time.Minute))
	require.False(t, g.order(Order{Kind: OrderRelease, Zone: "a", Source: "mqtt"}).Accepted, "the box set it")
	require.Empty(t, g.commands(g.run(time.Minute, 35), true))
	require.True(t, g.order(Order{Kind: OrderRelease, Zone: "a", Source: "cli"}).Accepted)
	g.run(20*time.Second, 35)
	require.NotNil(t, g.room.zoneBy["a"].run)
}

// A bed that is held stays held under another name, in the same process and in the next,
// and is released under that name for good.
func TestAHoldFollowsItsOutputs(t *testing.T) {
	renamed := func() *Plan {
		p := benchPlan(2, 2)
		p.Hash, p.Zones[0].ID, p.Probes[0].Zone, p.Probes[1].Zone = "0001", "east", "east", "east"
		return p
	}
	g := newRig(t, benchPlan(2, 2))
	require.True(t, g.order(Order{Kind: OrderHold, Zone: "a", For: 12 * time.Hour, Source: "cli"}).Accepted)
	before := g.room.Memory()
	check := func(g *rig) {
		g.run(time.Minute, 35)
		require.Equal(t, HeldByPerson, g.zone("east").Reason)
		require.NotEqual(t, HeldByPerson, g.zone("b").Reason)
		require.Equal(t, Source("cli"), g.room.zoneBy["east"].mem.HoldSource)
		require.Zero(t, g.room.mem.zone("a").HoldUntil)
	}
	g.step(&NewPlan{renamed()})
	check(g)
	again := rawRig(t, renamed(), before)
	again.run(40*time.Second, 45)
	check(again)
	again = rawRig(t, renamed(), g.room.Memory())
	again.run(40*time.Second, 45)
	check(again)
	require.True(t, again.order(Order{Kind: OrderRelease, Zone: "east"}).Accepted)
	again = rawRig(t, renamed(), again.room.Memory())
	again.run(40*time.Second, 45)
	require.NotEqual(t, HeldByPerson, again.zone("east").Reason)

	g.step(&NewPlan{benchPlan(2, 2)})
	require.NotZero(t, g.room.zoneBy["a"].mem.HoldUntil, "and back")

	p := benchPlan(2, 2)
	p.Hash, p.Zones, p.Valves, p.Probes = "0002", p.Zones[1:], p.Valves[1:], p.Probes[2:]
	g.step(&NewPlan{p})
	require.NotZero(t, g.room.mem.zone("a").HoldUntil, "of a bed that is gone it waits for the bed")
	g.step(&NewPlan{benchPlan(2, 2)})
	require.Equal(t, HeldByPerson, g.zone("a").Reason)
}

// Only a budget that counts as spent is freed: else a reset would be water without end.
func TestResetOfABudgetThatNobodyLost(t *testing.T) {
	g := watering(t, benchPlan(1, 2))
	a := g.order(Order{Kind: OrderReset, Subject: "budget", Zone: "a"})
	require.False(t, a.Accepted)
	require.Contains(t, a.Because, "nothing of a's budget was lost")
	require.NotEmpty(t, g.room.zoneBy["a"].outs[0].mem.Charges)
}

// A supply is reset of what is its own: a valve that did not close. A stop is a zone's.
func TestResetOfASupply(t *testing.T) {
	g := newRig(t, benchPlan(2, 2))
	require.True(t, g.order(Order{Kind: OrderStop, Zone: "a"}).Accepted)
	a := g.order(Order{Kind: OrderReset, Subject: "feed"})
	require.False(t, a.Accepted)
	require.Contains(t, a.Because, "`rillgate reset a`")
	g.room.latchZone(g.room.zoneBy["b"], ValveMismatch, "planted")
	require.True(t, g.order(Order{Kind: OrderReset, Subject: "feed"}).Accepted)
	g.run(5*time.Second, 45)
	require.Equal(t, StoppedByPerson, g.zone("a").Reason)
	require.True(t, g.order(Order{Kind: OrderReset, Zone: "a"}).Accepted)
}
