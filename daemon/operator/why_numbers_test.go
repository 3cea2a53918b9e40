package operator_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/operator"
	"rillgate/zones/response"
)

// A number that is known in two units is one line, and no name stands twice.
func TestWhatAZoneHasTaughtIsSaidOnce(t *testing.T) {
	v := sample()
	v.Zones[0].Learned = &response.Learned{
		UptakeDay: response.Number{Value: 1.61, HalfWidth: 0.12, N: 6}, UptakeDayML: response.Number{Value: 106, HalfWidth: 14, N: 6},
		UptakeNight: response.Number{Value: 0.4, HalfWidth: 0.1, N: 3},
	}
	y, err := operator.Explain(v, "east")
	require.NoError(t, err)
	require.Contains(t, y.Numbers, operator.Number{Name: "learned: uptake by day", Value: "1.61 +/- 0.12 points/h (106 +/- 14 mL a plant and hour), of 6"})
	require.Contains(t, y.Numbers, operator.Number{Name: "learned: uptake by night", Value: "0.4 +/- 0.1 points/h, of 3"})
	names := map[string]bool{}
	for _, n := range y.Numbers {
		require.False(t, names[n.Name], n.Name)
		names[n.Name] = true
	}
}

func TestABudgetThatCountsAsSpentIsSaid(t *testing.T) {
	v := sample()
	v.Zones[0].UsedSeconds, v.Zones[0].BudgetSpent = 0, true
	y, err := operator.Explain(v, "east")
	require.NoError(t, err)
	require.Contains(t, y.Numbers, operator.Number{Name: "budget of 24 h",
		Value: "counts as spent, all 3600 s: what was given is not known; `rillgate reset budget east`"})
}
