package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// No plan lifts the compiled-in ceilings, by hand or by a window (INV-18).
func TestCeilingsBindWhateverThePlanSays(t *testing.T) {
	p := benchPlan(1, 2)
	p.Zones[0].Limits.MaxRun, p.Zones[0].Limits.MaxPerDay = 100*time.Hour, 1000*time.Hour
	g := newRig(t, p)
	a := g.order(Order{Kind: OrderShot, Zone: "a", For: MaxRunCeiling + time.Millisecond})
	require.Equal(t, MaxRunReached, a.Reason)
	z := g.room.zoneBy["a"]
	z.outs[0].mem.Charges = []Charge{{Run: "r", Zone: "a", Amount: MaxPerDayCeiling - MaxRunCeiling, End: g.room.t}}
	a = g.order(Order{Kind: OrderShot, Zone: "a", For: MaxRunCeiling})
	require.True(t, a.Accepted, "both ceilings are just met")
	g.order(Order{Kind: OrderStop})

	g = newRig(t, p)
	z = g.room.zoneBy["a"]
	z.outs[0].mem.Charges = []Charge{{Run: "r", Zone: "a", Amount: MaxPerDayCeiling - time.Minute, End: g.room.t}}
	a = g.order(Order{Kind: OrderShot, Zone: "a", For: time.Minute + time.Millisecond})
	require.Equal(t, DailyLimit, a.Reason)
}
