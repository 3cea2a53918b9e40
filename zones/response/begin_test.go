package response_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones/response"
	"rillgate/zones/simroom"
)

// A probe that drifts is exchanged for one that shows 5 points less: what was found is
// over at once, the day after holds nothing against the new one, and the zone has not
// forgotten.
func TestAnotherProbeBeginsAnew(t *testing.T) {
	r := newRig(t, rigPlan(1, 4), simroom.Options{Seed: 3}, plainHabit)
	r.to(3*day + 9*time.Hour)
	shots := r.learned("z1").PointsPerLitre.N
	require.NotZero(t, shots)
	r.inject(simroom.Fault{Kind: simroom.ProbeDrifts, Subject: "z1-1", Value: -1.2, At: r.now(), For: 12 * time.Hour})
	r.to(r.now() + 12*time.Hour)
	require.True(t, found(r.m, response.ProbeDrifts, "z1-1"))

	require.True(t, r.m.Begin("z1-1"))
	require.False(t, r.m.Begin("nobody"))
	require.Empty(t, r.m.Findings())
	require.GreaterOrEqual(t, r.learned("z1").PointsPerLitre.N, shots)
	told := len(r.told)
	r.to(r.now() + 24*time.Hour)
	require.Empty(t, r.told[told:])
	r.again()
}

func found(m *response.Model, code response.Code, subject string) bool {
	for _, f := range m.Findings() {
		if f.Code == code && f.Subject() == subject {
			return true
		}
	}
	return false
}
