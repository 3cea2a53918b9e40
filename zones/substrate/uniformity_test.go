package substrate

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// A published evaluation of fifteen cans (North Carolina State University's worked
// example): coefficient 69.13955, low quarter 49.62039 with 4 of 15 cans. With 3 cans it
// would be 40.13, interpolated 47.72: it fixes that the quarter is rounded up.
func TestUniformityAgainstAPublishedCatchTest(t *testing.T) {
	u, err := UniformityOf([]float64{47, 42, 45, 24, 13, 26, 33, 34, 27, 30, 40, 44, 32, 12, 12})
	require.NoError(t, err)
	require.Equal(t, 15, u.N)
	require.Equal(t, 4, u.Quarter)
	require.InDelta(t, 69.13955, u.Christiansen, 1e-4)
	require.InDelta(t, 49.62039, u.LowQuarter, 1e-4)
	factor, ok := u.RunTimeFactor()
	require.True(t, ok)
	require.InDelta(t, 1/0.4962039, factor, 1e-6)
}

// A worked example on the web: sixteen emitters, low quarter printed as 82.13 %. The
// coefficient (89.41) and the coefficient of variation (0.1241) are reckoned here, with
// another program.
func TestUniformityAgainstAWorkedExample(t *testing.T) {
	u, err := UniformityOf([]float64{12.0, 11.5, 10.8, 9.2, 12.3, 11.9, 10.1, 8.7, 12.1, 11.7, 10.5, 9.0, 12.2, 11.6, 10.3, 8.5})
	require.NoError(t, err)
	require.InDelta(t, 82.13, u.LowQuarter, 0.005)
	require.InDelta(t, 89.41, u.Christiansen, 0.005)
	require.InDelta(t, 100*(1-0.1241), u.Statistical, 0.005)
	require.InDelta(t, 10.775, u.Mean, 1e-12)
}

func TestUniformityDoesNotHangOnUnitOrOrder(t *testing.T) {
	a, err := UniformityOf([]float64{1, 2, 3, 4, 5})
	require.NoError(t, err)
	b, err := UniformityOf([]float64{5000, 1000, 4000, 3000, 2000})
	require.NoError(t, err)
	require.InDelta(t, a.Christiansen, b.Christiansen, 1e-9)
	require.InDelta(t, a.LowQuarter, b.LowQuarter, 1e-9)
	require.InDelta(t, a.Statistical, b.Statistical, 1e-9)

	same, err := UniformityOf([]float64{7, 7, 7, 7})
	require.NoError(t, err)
	require.InDelta(t, 100, same.Christiansen, 1e-9)
	require.InDelta(t, 100, same.LowQuarter, 1e-9)
	require.InDelta(t, 100, same.Statistical, 1e-9)
}

func TestUniformityOfPluggedEmitters(t *testing.T) {
	u, err := UniformityOf([]float64{0, 40, 40, 40})
	require.NoError(t, err)
	require.Zero(t, u.LowQuarter)
	_, ok := u.RunTimeFactor()
	require.False(t, ok)
}

func TestUniformityRefusesWhatIsNoCatchTest(t *testing.T) {
	for name, v := range map[string][]float64{
		"three": {1, 2, 3}, "none": nil, "negative": {1, 2, 3, -1}, "all nothing": {0, 0, 0, 0}, "too much": {1, 2, 3, 1e10},
	} {
		_, err := UniformityOf(v)
		require.ErrorContains(t, err, "judge a catch test", name)
	}
}
