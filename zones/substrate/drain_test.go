package substrate

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// 300 of 1500 mL are 20 %; EC 2.0 in and 5.0 out would be a steady share of 0.40
// (FAO-29, Ayers & Westcot 1985). Salts by hand: 3.0 in, 1.5 out, 1.5 kept in 1.2 L.
func TestDrain(t *testing.T) {
	d, err := DrainSample{AppliedML: 1500, DrainML: 300, In: 2.0, Out: 5.0, PH: 5.9}.Judge()
	require.NoError(t, err)
	require.InDelta(t, 0.20, d.Share, 1e-12)
	require.InDelta(t, 0.40, d.SteadyShare, 1e-12)
	require.InDelta(t, 3.0, d.SaltIn, 1e-12)
	require.InDelta(t, 1.5, d.SaltOut, 1e-12)
	require.InDelta(t, 1.5, d.SaltKept, 1e-12)
	require.InDelta(t, 1.25, float64(d.Uptake), 1e-12)
	// What it was kept at leads back to the drain.
	out, err := SteadyDrainEC(2.0, d.Uptake, d.Share)
	require.NoError(t, err)
	require.InDelta(t, 5.0, float64(out), 1e-12)
}

func TestDrainWithoutDrain(t *testing.T) {
	d, err := DrainSample{AppliedML: 1500, In: 2.0}.Judge()
	require.NoError(t, err)
	require.Zero(t, d.Share)
	require.Zero(t, d.SteadyShare)
	require.InDelta(t, 3.0, d.SaltKept, 1e-12)
	d, err = DrainSample{AppliedML: 200, DrainML: 200, In: 2, Out: 2}.Judge()
	require.NoError(t, err)
	require.Equal(t, 1.0, d.Share)
	require.Zero(t, d.Uptake)
}

func TestDrainRefuses(t *testing.T) {
	for name, s := range map[string]DrainSample{
		"no feed":  {DrainML: 10, In: 2, Out: 3},
		"more out": {AppliedML: 100, DrainML: 101, In: 2, Out: 3},
		"no EC":    {AppliedML: 100, DrainML: 10, In: 2},
		"µS/cm":    {AppliedML: 100, DrainML: 10, In: 2000, Out: 3000},
		"pH":       {AppliedML: 100, DrainML: 10, In: 2, Out: 3, PH: 58},
		"nan":      {AppliedML: math.NaN(), DrainML: 10, In: 2, Out: 3},
		"nan out":  {AppliedML: 100, DrainML: 10, In: 2, Out: Conductivity(math.NaN())},
	} {
		_, err := s.Judge()
		require.Error(t, err, name)
	}
}

// From the balance: in 2.5, share 0.25, uptake 1.8 -> 4.60; without uptake 10.0.
func TestSteadyDrainEC(t *testing.T) {
	out, err := SteadyDrainEC(2.5, 1.8, 0.25)
	require.NoError(t, err)
	require.InDelta(t, 4.60, float64(out), 1e-12)
	out, err = SteadyDrainEC(2.5, 0, 0.25)
	require.NoError(t, err)
	require.InDelta(t, 10.0, float64(out), 1e-12)
	_, err = SteadyDrainEC(2.5, 4, 0.25)
	require.ErrorContains(t, err, "more salt")
	for _, share := range []float64{0, 1.1, math.NaN()} {
		_, err = SteadyDrainEC(2.5, 1, share)
		require.Error(t, err)
	}
}

// Water 0.6, soil 0.4 dS/m: 0.4286, and 40 in of use become 70; a county adviser's page
// on Rhoades 1974 prints 0.43 and 70.
func TestLeachingRequirement(t *testing.T) {
	lr, err := LeachingRequirement(0.6, 0.4)
	require.NoError(t, err)
	require.InDelta(t, 0.4286, lr, 5e-5)
	gross, err := GrossML(40, lr)
	require.NoError(t, err)
	require.InDelta(t, 70.0, gross, 1e-9)
	for _, row := range [][2]Conductivity{{2, 0.4}, {2.1, 0.4}, {1.5, 0.4}, {-1, 1}, {1, Conductivity(math.NaN())}} {
		_, err := LeachingRequirement(row[0], row[1])
		require.Error(t, err, "%v", row)
	}
	for _, share := range []float64{1, -0.1, math.NaN()} {
		_, err := GrossML(40, share)
		require.Error(t, err)
	}
}
