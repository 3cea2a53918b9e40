package substrate

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Class averages of Carsel & Parrish 1988, Water Resour. Res. 24:755-769: residual,
// saturated, alpha (1/cm), n. The first six rows and the seventh's first three numbers
// from a transcription, the rest from memory. The water contents at 10, 50, 100, 330
// and 15000 cm are computed, to 0.00005.
func TestRetentionOfSoilClasses(t *testing.T) {
	suctions := [5]float64{10, 50, 100, 330, 15000}
	for name, row := range map[string]struct {
		r     Retention
		theta [5]float64
	}{
		"sand":            {Retention{.045, .43, .145, 2.68}, [5]float64{.2143, .0588, .0493, .0456, .0450}},
		"loamy sand":      {Retention{.057, .41, .124, 2.28}, [5]float64{.2620, .0909, .0710, .0601, .0570}},
		"sandy loam":      {Retention{.065, .41, .075, 1.89}, [5]float64{.3431, .1675, .1218, .0848, .0657}},
		"loam":            {Retention{.078, .43, .036, 1.56}, [5]float64{.4074, .3025, .2421, .1654, .0884}},
		"silt":            {Retention{.034, .46, .016, 1.37}, [5]float64{.4511, .4010, .3534, .2582, .0901}},
		"silt loam":       {Retention{.067, .45, .020, 1.41}, [5]float64{.4392, .3801, .3297, .2402, .1039}},
		"sandy clay loam": {Retention{.100, .39, .059, 1.48}, [5]float64{.3566, .2626, .2209, .1695, .1112}},
		"clay loam":       {Retention{.095, .41, .019, 1.31}, [5]float64{.4021, .3644, .3322, .2697, .1496}},
		"silty clay loam": {Retention{.089, .43, .010, 1.23}, [5]float64{.4264, .4081, .3885, .3383, .1967}},
		"sandy clay":      {Retention{.100, .38, .027, 1.23}, [5]float64{.3706, .3369, .3123, .2672, .1704}},
		"silty clay":      {Retention{.070, .36, .005, 1.09}, [5]float64{.3591, .3553, .3509, .3370, .2665}},
		"clay":            {Retention{.068, .38, .008, 1.09}, [5]float64{.3784, .3720, .3654, .3469, .2707}},
	} {
		require.NoError(t, row.r.Check(), name)
		require.InDelta(t, row.r.ThetaS, row.r.Theta(0), 1e-12, name)
		require.Equal(t, row.r.Theta(0), row.r.Theta(-5), name)
		for i, h := range suctions {
			require.InDelta(t, row.theta[i], row.r.Theta(h), 5.1e-5, "%s at %g cm", name, h)
		}
		behaves(t, row.r)
	}
}

// behaves: water falls with suction; a container holds less the higher it is, between
// what its top holds and saturation; pores are water and air.
func behaves(t *testing.T, r Retention) {
	t.Helper()
	last := r.ThetaS
	for h := 1.0; h < 20000; h *= 1.5 {
		require.Less(t, r.Theta(h), last)
		require.Greater(t, r.Theta(h), r.ThetaR)
		last = r.Theta(h)
	}
	last = r.ThetaS
	for height := 2.0; height <= 60; height += 2 {
		c, err := r.In(height)
		require.NoError(t, err)
		require.Less(t, c.Capacity, last)
		require.Greater(t, c.Capacity, r.Theta(height))
		require.InDelta(t, r.ThetaS, c.Capacity+c.AirSpace, 1e-12)
		last = c.Capacity
	}
}

// With n = 2 the mean over a height H is r + (s - r) asinh(alpha H) / (alpha H): an
// integral that can be written down.
func TestCapacityAgainstClosedForm(t *testing.T) {
	r := Retention{0.05, 0.90, 0.11, 2}
	for _, height := range []float64{1, 7.5, 20, 60} {
		got, err := r.Capacity(height)
		require.NoError(t, err)
		require.InDelta(t, 0.05+0.85*math.Asinh(0.11*height)/(0.11*height), got, 1e-9, "%g cm", height)
	}
}

// With n near 1 the curve is steepest at the bottom: against 100 times as many slices
// by the midpoint rule.
func TestCapacityIsFineEnough(t *testing.T) {
	for _, r := range []Retention{{.070, .36, .005, 1.09}, {.100, .88, .200, 1.50}, {.01, .94, .065, 3.00}, {0, 1, 5, 1.05}} {
		for _, height := range []float64{2, 20, 60} {
			sum := 0.0
			for i := range 40000 {
				sum += r.Theta(height * (float64(i) + 0.5) / 40000)
			}
			got, err := r.Capacity(height)
			require.NoError(t, err)
			require.InDelta(t, sum/40000, got, 1e-4, "%+v at %g cm", r, height)
		}
	}
}

// Computed: sand 0.3429, 0.2865, 0.2455 at 10, 15, 20 cm; loam 0.4136 at 15 cm.
func TestCapacityOfSoils(t *testing.T) {
	sand, loam := Retention{.045, .43, .145, 2.68}, Retention{.078, .43, .036, 1.56}
	for _, row := range []struct {
		r             Retention
		height, theta float64
	}{{sand, 10, 0.3429}, {sand, 15, 0.2865}, {sand, 20, 0.2455}, {loam, 15, 0.4136}} {
		got, err := row.r.Capacity(row.height)
		require.NoError(t, err)
		require.InDelta(t, row.theta, got, 1e-4)
	}
}

// 1, 5 and 10 kPa are 10.197, 50.986 and 101.972 cm of water.
func TestHeightOfAKilopascal(t *testing.T) {
	require.InDelta(t, 1000/9.80665, 10*CentimetresPerKPa, 1e-3)
	require.InDelta(t, 50.986, 5*CentimetresPerKPa, 1e-3)
}

func TestRetentionRefuses(t *testing.T) {
	good := Retention{.045, .43, .145, 2.68}
	for name, change := range map[string]func(*Retention){
		"swapped": func(r *Retention) { r.ThetaR, r.ThetaS = r.ThetaS, r.ThetaR },
		"percent": func(r *Retention) { r.ThetaS = 43 },
		"alpha":   func(r *Retention) { r.Alpha = 0 },
		"n":       func(r *Retention) { r.N = 1 },
		"nan":     func(r *Retention) { r.N = math.NaN() },
	} {
		r := good
		change(&r)
		require.Error(t, r.Check(), name)
		_, err := r.Capacity(10)
		require.Error(t, err, name)
	}
	for _, height := range []float64{0, -1, 201, math.NaN()} {
		_, err := good.In(height)
		require.ErrorContains(t, err, "cm", "%g", height)
	}
}
