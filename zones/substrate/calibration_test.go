package substrate

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// 0.390 kg of water in 0.65 L are 0.600 (mass balance).
func TestGravimetricTheta(t *testing.T) {
	theta, err := GravimetricTheta(0.455, 0.065, 0.65)
	require.NoError(t, err)
	require.InDelta(t, 0.600, theta, 1e-12)
	for _, bad := range [][3]float64{
		{0.065, 0.455, 0.65}, {0.455, 0.065, 0}, {455, 65, 0.65}, {0.4, 0, 0.65}, {math.NaN(), 0.1, 1}, {math.Inf(1), 0.1, 1},
	} {
		_, err := GravimetricTheta(bad[0], bad[1], bad[2])
		require.Error(t, err, "%v", bad)
	}
}

// Roots 4, 6, 8 with 0.20, 0.50, 0.80 lie on b = 0.15, a = -0.40 exactly (by hand).
func TestCalibrateOnALine(t *testing.T) {
	c, err := Calibrate([]Sample{{16, 0.20}, {36, 0.50}, {64, 0.80}})
	require.NoError(t, err)
	require.InDelta(t, 0.15, c.B, 1e-12)
	require.InDelta(t, -0.40, c.A, 1e-12)
	require.True(t, c.Judged)
	require.InDelta(t, 1, c.R2, 1e-12)
	require.InDelta(t, 0, c.RMSE, 1e-12)
	require.Equal(t, [2]float64{16, 64}, [2]float64{c.Low, c.High})
}

// Roots 4, 5, 6, 7 with 0.20, 0.36, 0.49, 0.65, by hand: means 5.5 and 0.425;
// Sxy = 0.74, Sxx = 5, so b = 0.148 and a = -0.389; residuals -0.003, 0.009, -0.009,
// 0.003: their squares sum to 0.00018, Syy = 0.1097.
func TestCalibrateOffALine(t *testing.T) {
	c, err := Calibrate([]Sample{{16, 0.20}, {25, 0.36}, {36, 0.49}, {49, 0.65}})
	require.NoError(t, err)
	require.InDelta(t, 0.148, c.B, 1e-12)
	require.InDelta(t, -0.389, c.A, 1e-12)
	require.InDelta(t, math.Sqrt(0.00018/4), c.RMSE, 1e-12)
	require.InDelta(t, 1-0.00018/0.1097, c.R2, 1e-12)
	require.InDelta(t, 4.303*math.Sqrt(0.00018/2), c.Doubt, 1e-5) // t of 2 degrees of freedom, as tabulated
}

func TestTwoPointIsNotJudged(t *testing.T) {
	c, err := TwoPoint(Sample{9, 0.15}, Sample{49, 0.71})
	require.NoError(t, err)
	require.False(t, c.Judged)
	require.Zero(t, c.R2)
	require.Zero(t, c.Doubt)
	curve := c.Curve("bay coir", 0.88)
	require.True(t, curve.Own)
	for k, theta := range map[float64]float64{9: 0.15, 25: 0.43, 49: 0.71} { // b 0.14, a -0.27
		m, err := curve.Moisture(k, math.NaN())
		require.NoError(t, err)
		require.InDelta(t, theta, m.Theta, 1e-12)
		require.Zero(t, m.Flags)
	}
	m, err := curve.Moisture(49.1, 20)
	require.NoError(t, err)
	require.InDelta(t, 0.71, m.Theta, 1e-12)
	require.Equal(t, AboveRange, m.Flags)
}

func TestCalibrateRefuses(t *testing.T) {
	for name, s := range map[string][]Sample{
		"one":       {{16, 0.2}},
		"near":      {{16, 0.20}, {17, 0.40}},
		"same":      {{16, 0.20}, {36, 0.22}},
		"falling":   {{16, 0.50}, {36, 0.20}},
		"percent":   {{16, 20}, {36, 50}},
		"not a k":   {{math.NaN(), 0.2}, {36, 0.5}},
		"no theta":  {{16, math.NaN()}, {36, 0.5}},
		"too large": {{16, 0.2}, {360, 0.5}},
	} {
		_, err := Calibrate(s)
		require.Error(t, err, name)
	}
}
