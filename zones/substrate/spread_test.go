package substrate

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// By hand: median 59.5, median distance 1.5, so a scale of 2.2239; 30 lies 13.26
// scales away, all others under 1.13. The mean of the five left is 60.
func TestJudgeFindsTheOutlier(t *testing.T) {
	values := []float64{58, 59, 60, 61, 62, 30}
	s, err := Judge(values, 1)
	require.NoError(t, err)
	require.Equal(t, 59.5, s.Median)
	require.InDelta(t, 2.2239, s.Scale, 5e-5)
	require.Equal(t, []int{5}, s.Outliers)
	require.Equal(t, 5, s.N)
	require.InDelta(t, 60, s.Mean, 1e-12)
	require.InDelta(t, math.Sqrt(2.5), s.SD, 1e-12)
	require.InDelta(t, 2.776*math.Sqrt(2.5/5), s.HalfWidth, 1e-3) // t of 4 degrees of freedom, as tabulated
	require.Equal(t, []float64{58, 59, 60, 61, 62, 30}, values, "the values stay as they are")

	s, err = Judge([]float64{41.2, 42.0, 42.3, 42.9, 43.1, 12.0}, 0.5)
	require.NoError(t, err)
	require.InDelta(t, 42.15, s.Median, 1e-12)
	require.InDelta(t, 23.9, (s.Median-12)/s.Scale, 0.05)
	require.Equal(t, []int{5}, s.Outliers)
}

// Where most are equal the median distance is 0: the floor keeps a neighbour in, and
// a real outlier out.
func TestJudgeFloorForEqualReadings(t *testing.T) {
	s, err := Judge([]float64{55, 55, 55, 55, 56.5}, 1)
	require.NoError(t, err)
	require.Equal(t, 1.0, s.Scale)
	require.Empty(t, s.Outliers)
	s, err = Judge([]float64{55, 55, 55, 55, 80}, 1)
	require.NoError(t, err)
	require.Equal(t, []int{4}, s.Outliers)
	s, err = Judge([]float64{55, 55, 55, 55, 58}, 1) // three scales exactly are in
	require.NoError(t, err)
	require.Empty(t, s.Outliers)
	s, err = Judge([]float64{55, 55, 55, 55, 58.01}, 1)
	require.NoError(t, err)
	require.Equal(t, []int{4}, s.Outliers)
}

// The median of n stands (n-1)/2 bad probes, rounded down: 3 stand one, 5 two, and
// with two there is no vote.
func TestJudgeStandsBadProbes(t *testing.T) {
	s, err := Judge([]float64{50, 1, 51}, 1)
	require.NoError(t, err)
	require.Equal(t, []int{1}, s.Outliers)
	s, err = Judge([]float64{50, 1, 51, 99, 50.5}, 1)
	require.NoError(t, err)
	require.Equal(t, []int{1, 3}, s.Outliers)
	s, err = Judge([]float64{50, 1}, 1)
	require.NoError(t, err)
	require.Empty(t, s.Outliers)
	s, err = Judge([]float64{50}, 1)
	require.NoError(t, err)
	require.Equal(t, Spread{N: 1, Median: 50, Scale: 1, Mean: 50}, s)
}

func TestJudgeRefuses(t *testing.T) {
	for _, row := range []struct {
		values []float64
		floor  float64
	}{{nil, 1}, {[]float64{1, 2}, 0}, {[]float64{1, 2}, math.NaN()}, {[]float64{1, math.NaN()}, 1}, {[]float64{math.Inf(1)}, 1}} {
		_, err := Judge(row.values, row.floor)
		require.Error(t, err, "%v", row)
	}
}

// A mean of ten probes at 50 % with a coefficient of variation of 13 and 25 %, the
// spread published among containers (conference abstract 6238 of ASHS, 2011):
// 4.65 and 8.94 points (t of 9 degrees of freedom 2.262).
func TestHalfWidthOfTenProbes(t *testing.T) {
	for cv, want := range map[float64]float64{0.13: 4.65, 0.25: 8.94} {
		z := math.Sqrt(0.9) * 50 * cv // five above and five below give this sd
		_, sd, half := interval([]float64{50 - z, 50 + z, 50 - z, 50 + z, 50 - z, 50 + z, 50 - z, 50 + z, 50 - z, 50 + z})
		require.InDelta(t, 50*cv, sd, 1e-9)
		require.InDelta(t, want, half, 0.005)
	}
}

// Quantiles as tabulated, e.g. NIST/SEMATECH e-Handbook 1.3.6.7.2 (from memory). One
// and two degrees have closed forms: tan(pi (p - 1/2)), and (2p-1)/sqrt(2p(1-p)).
func TestStudent(t *testing.T) {
	for df, want := range map[int]float64{
		1: 12.706, 2: 4.303, 3: 3.182, 4: 2.776, 5: 2.571, 6: 2.447, 7: 2.365, 8: 2.306, 9: 2.262, 10: 2.228,
		11: 2.201, 12: 2.179, 15: 2.131, 20: 2.086, 25: 2.060, 30: 2.042, 60: 2.000, 100: 1.984,
	} {
		require.InDelta(t, want, studentT(0.975, df), 5.1e-4, "%d", df)
	}
	require.InDelta(t, math.Tan(math.Pi*0.45), studentT(0.95, 1), 1e-9)
	require.InDelta(t, 0.9/math.Sqrt(2*0.95*0.05), studentT(0.95, 2), 1e-9)
	require.InDelta(t, 1.959964, studentT(0.975, 100000), 1e-4) // the normal's
}

// The least n with n >= (t s / E)^2, computed; with the normal's 1.96 for t the answers
// would be 4, 3, 7, 9, 9, 16 and too few.
func TestProbesFor(t *testing.T) {
	for _, row := range []struct {
		sd, precision float64
		want          int
	}{{3, 3, 7}, {3.9, 5, 5}, {4, 3, 10}, {7.5, 5, 12}, {3, 2, 12}, {6, 3, 18}, {0.01, 5, 2}} {
		got, err := ProbesFor(row.sd, row.precision)
		require.NoError(t, err)
		require.Equal(t, row.want, got, "%+v", row)
	}
	for _, row := range [][2]float64{{0, 1}, {1, 0}, {100, 0.1}, {math.NaN(), 1}, {1, math.NaN()}} {
		_, err := ProbesFor(row[0], row[1])
		require.Error(t, err, "%v", row)
	}
}

// 100 square feet are 9.290304 m2 exactly; one probe for each is common practice.
func TestProbesForCanopy(t *testing.T) {
	require.InDelta(t, 100*0.3048*0.3048, CanopyPerProbe, 1e-12)
	for area, want := range map[float64]int{
		0: 0, -1: 0, 0.5: 1, CanopyPerProbe: 1, 9.30: 2, 10 * CanopyPerProbe: 10, 20: 3, math.Inf(1): 0,
	} {
		require.Equal(t, want, ProbesForCanopy(area), "%g m2", area)
	}
	require.Zero(t, ProbesForCanopy(math.NaN()))
}
