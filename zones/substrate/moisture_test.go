package substrate

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestSignal(t *testing.T) {
	nan := math.NaN()
	c := DefaultCurve("peat")
	// A moisture that the probe sends is taken as it is, whatever else it sends.
	m, err := Signal{Moisture: 0.462, Permittivity: 5, Celsius: 20}.Read(&c, 0)
	require.NoError(t, err)
	require.Equal(t, Moisture{Theta: 0.462}, m)
	m, err = Signal{Moisture: nan, Permittivity: 20, Celsius: 20}.Read(&c, 0)
	require.NoError(t, err)
	require.InDelta(t, 0.4591, m.Theta, 5.1e-5)
	require.Equal(t, Uncalibrated, m.Flags)
	// The probe's own offset, and where it leads too far.
	m, err = Signal{Moisture: 0.462, Permittivity: nan, Celsius: nan}.Read(&c, -0.012)
	require.NoError(t, err)
	require.InDelta(t, 0.450, m.Theta, 1e-12)
	m, err = Signal{Moisture: nan, Permittivity: 20, Celsius: 20}.Read(&c, 0.03)
	require.NoError(t, err)
	require.InDelta(t, 0.4891, m.Theta, 5.1e-5)
	m, err = Signal{Moisture: 0.01, Permittivity: nan, Celsius: nan}.Read(&c, -0.05)
	require.NoError(t, err)
	require.Equal(t, Moisture{Theta: 0, Flags: UnderZero}, m)
	m, err = Signal{Moisture: nan, Permittivity: 60, Celsius: nan}.Read(&c, 0.15)
	require.NoError(t, err)
	require.Equal(t, c.Top, m.Theta)
	require.Equal(t, OverPores|Uncalibrated, m.Flags)
}

func TestSignalRefuses(t *testing.T) {
	nan := math.NaN()
	c := DefaultCurve("peat")
	for _, s := range []Signal{
		{nan, nan, 20}, {46.2, nan, 20}, {-0.001, nan, 20}, {math.Inf(1), 20, 20}, {nan, math.Inf(1), 20},
	} {
		_, err := s.Read(&c, 0)
		require.Error(t, err, "%+v", s)
	}
	for _, offset := range []float64{0.151, -0.151, nan} {
		_, err := Signal{0.4, nan, nan}.Read(&c, offset)
		require.ErrorContains(t, err, "offset")
	}
}
