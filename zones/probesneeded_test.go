package zones

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// How many probes give 3 points either way, by the spread that the zone has: the numbers
// are those of substrate.ProbesFor, whose test gives their source. Probes that agree
// count as half a point apart; what cannot be told is none.
func TestProbesNeeded(t *testing.T) {
	require.Zero(t, (&ZoneView{}).ProbesNeeded())
	for sd, want := range map[float64]int{0: 3, 0.5: 3, 3: 7, 6: 18, 1000: 0} {
		require.Equal(t, want, (&ZoneView{Spread: &sd}).ProbesNeeded(), "%g points", sd)
	}
	none := math.NaN()
	require.Zero(t, (&ZoneView{Spread: &none}).ProbesNeeded())
	g := newRig(t, benchPlan(1, 3))
	for i, percent := range []float64{42, 45, 48} { // 3 points apart: a deviation of 3
		for range 2 {
			g.says(g.room.plan.Probes[i].Place, percent, "")
		}
	}
	v := g.zone("a")
	require.InDelta(t, 3, *v.Spread, 1e-9)
	require.Equal(t, 7, v.ProbesNeeded())
}
