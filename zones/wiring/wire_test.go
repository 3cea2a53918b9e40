package wiring

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

const feetPerKft = 1000 * metresPerFoot

// ASTM B258: 36 AWG is 0.0050 in and 0000 is 0.4600 in, 39 equal steps between;
// the step is the 39th root of 92, 1.1229322. Diameters (mm), areas (mm2) and ohm a
// 1000 ft of solid annealed copper at 20 °C as widely printed wire tables give them
// (the same figures stand in NBS Handbook 100, not seen).
func TestGaugesAgainstWireTables(t *testing.T) {
	require.InDelta(t, 0.127, GaugeDiameter(36), 1e-12)
	require.InDelta(t, 0.46*25.4, GaugeDiameter(-3), 1e-9)
	require.InDelta(t, 1.1229322, GaugeDiameter(17)/GaugeDiameter(18), 1e-7)
	for n, row := range map[int]struct{ mm, mm2, ohms float64 }{
		8: {3.264, 8.37, 0.6282}, 10: {2.588, 5.26, 0.9989}, 12: {2.053, 3.31, 1.588}, 14: {1.628, 2.08, 2.525}, 16: {1.291, 1.31, 4.016},
		18: {1.024, 0.823, 6.385}, 20: {0.812, 0.518, 10.15}, 22: {0.644, 0.326, 16.14}, 24: {0.511, 0.205, 25.67}, 30: {0.255, 0.0509, 103.2},
	} {
		w := Gauge(n)
		require.InEpsilon(t, row.mm, GaugeDiameter(n), 2e-3, "%d AWG", n)
		require.InEpsilon(t, row.mm2, w.MM2, 2e-3, "%d AWG", n)
		require.InEpsilon(t, row.ohms, ohms(t, w, 20)*feetPerKft/strandedOverSolid, 1e-3, "%d AWG", n)
	}
}

func ohms(t *testing.T, w Wire, celsius float64) float64 {
	t.Helper()
	v, known := w.OhmsPerMetre(celsius).Value()
	require.True(t, known)
	return v
}

// NEC chapter 9 table 8, uncoated copper at 75 °C, ohm a 1000 ft, solid and
// stranded: as an engineering site reprints it.
func TestGaugesAgainstNEC(t *testing.T) {
	for n, row := range map[int]struct{ solid, stranded float64 }{
		18: {7.77, 7.95}, 16: {4.89, 4.99}, 14: {3.07, 3.14}, 12: {1.93, 1.98}, 10: {1.21, 1.24}, 8: {0.764, 0.778},
	} {
		hot := ohms(t, Gauge(n), 75) * feetPerKft
		require.InEpsilon(t, row.stranded, hot, 6e-3, "%d AWG stranded", n)
		require.InEpsilon(t, row.solid, hot/strandedOverSolid, 5e-3, "%d AWG solid", n)
	}
}

// IEC 60228, greatest resistance at 20 °C, ohm a km, plain copper, of classes 1 and 2
// and of class 5, as two cable makers reprint it. A sheet reckons with class 5, which
// no finer class exceeds. The factor to 75 °C is 254.5/(234.5+75) = 0.8223 upside
// down (the standard's, from memory; a reprint rounds it to 0.820).
func TestMetricAgainstIEC60228(t *testing.T) {
	for mm2, row := range map[float64]struct{ class2, class5 float64 }{
		0.5: {36.0, 39.0}, 0.75: {24.5, 26.0}, 1: {18.1, 19.5}, 1.5: {12.1, 13.3}, 2.5: {7.41, 7.98}, 4: {4.61, 4.95}, 6: {3.08, 3.30}, 10: {1.83, 1.91},
	} {
		w := Metric(mm2)
		require.InEpsilon(t, row.class5, ohms(t, w, 20)*1000, 1e-9)
		require.Greater(t, ohms(t, w, 20)*1000, row.class2)
		require.InEpsilon(t, 1/0.8223, ohms(t, w, 75)/ohms(t, w, 20), 1e-3)
		require.InEpsilon(t, 1/0.820, ohms(t, w, 75)/ohms(t, w, 20), 4e-3)
	}
}

// More copper never resists more, and no size resists less than its copper would.
func TestResistanceFallsWithCopper(t *testing.T) {
	last := math.Inf(1)
	for mm2 := 0.05; mm2 <= 10; mm2 *= 1.01 {
		r := ohms(t, Metric(mm2), 20)
		require.LessOrEqual(t, r, last*(1+1e-12), "%g mm2", mm2)
		require.GreaterOrEqual(t, r, copperOhmMetre/(mm2*1e-6), "%g mm2", mm2)
		last = r
	}
	for n := 30; n > 8; n-- {
		require.Greater(t, ohms(t, Gauge(n), 20), ohms(t, Gauge(n-1), 20))
		require.True(t, Gauge(n).Finer(Gauge(n-1)))
		require.False(t, Gauge(n-1).Finer(Gauge(n)))
	}
	require.False(t, Gauge(18).Finer(Gauge(18)))
	require.True(t, Metric(0.75).Finer(Gauge(18)), "0.75 mm2 is less than 0.823 mm2")
	require.False(t, Wire{}.OhmsPerMetre(20).known, "a size that nobody wrote")
}

// NIST SP 811: the foot is 0.3048 m, so 175 ft are 53.34 m, 200 ft are 60.96 m and
// 100 sqft 9.290304 m2.
func TestUnits(t *testing.T) {
	require.InDelta(t, 53.34, Common().FarthestProbeM, 1e-9)
	require.InDelta(t, 60.96, SDI12CableM, 1e-9)
	require.InDelta(t, 9.290304, Common().CanopyPerProbeM2, 1e-9)
	require.Equal(t, "175 ft", Length(53.34, true))
	require.Equal(t, "53.3 m", Length(53.34, false))
	require.Equal(t, "100 sqft", Area(9.290304, true))
	require.Equal(t, "0 m", Length(-0.01, false))
	require.Equal(t, "not given", Amount{}.Length(true))
	text, err := Amount{}.MarshalJSON()
	require.NoError(t, err)
	require.Equal(t, "null", string(text))
}
