package substrate

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Annex 2, table 2.3 of FAO-56, kPa. 15, 18, 24.5 and 25 °C also stand in its worked
// examples; the others are computed from its equation 11. At 35 °C the table
// prints 5.624, the equation gives 5.6227.
func TestSaturation(t *testing.T) {
	for celsius, want := range map[float64]float64{
		1: 0.657, 5: 0.872, 10: 1.228, 15: 1.705, 18: 2.064, 20: 2.338, 22: 2.644, 24: 2.984, 24.5: 3.075, 25: 3.168,
		26: 3.361, 28: 3.780, 30: 4.243, 35: 5.623, 40: 7.376,
	} {
		require.InDelta(t, want, SaturationKPa(celsius), 0.001, "%g °C", celsius)
	}
	for celsius := 0.0; celsius < 50; celsius++ { // the slope is the slope
		rise := (SaturationKPa(celsius+0.01) - SaturationKPa(celsius-0.01)) / 0.02
		require.InEpsilon(t, rise, SaturationSlope(celsius), 1e-4)
	}
}

// FAO-56, examples 2 (1800 m), 3 (24.5 and 15 °C), 5 (25 and 18 °C, 82 and 54 %) and
// 14 (3.2 m/s at 10 m), as other programs' tests cite them.
func TestWorkedExamples(t *testing.T) {
	require.InDelta(t, 81.8, PressureKPa(1800), 0.05)
	require.InDelta(t, 0.054, Psychrometric(81.8), 0.0005)
	require.InDelta(t, 2.39, MeanSaturationKPa(24.5, 15), 0.005)
	require.InDelta(t, 1.70, ActualKPa(25, 18, 82, 54), 0.005)
	require.InDelta(t, 2.4, WindAt2M(3.2, 10), 0.05)
}

// FAO-56, example 17 (a month's mean, printed 3.97 + 1.75 = 5.72; 5.713 from its
// rounded inputs) and example 18 (a day, printed 3.88).
func TestReferenceEvapotranspiration(t *testing.T) {
	radiative, aerodynamic := Weather{14.33, 0.14, 30.2, 2.0, 4.42, 2.85, 0.246, 0.0674}.ETo()
	require.InDelta(t, 3.97, radiative, 0.01)
	require.InDelta(t, 1.75, aerodynamic, 0.01)
	require.InDelta(t, 5.713, radiative+aerodynamic, 0.001)
	radiative, aerodynamic = Weather{13.28, 0, 16.9, 2.078, 1.997, 1.409, 0.122, 0.0666}.ETo()
	require.InDelta(t, 3.88, radiative+aerodynamic, 0.01)
}

// Example 18 again, from what was measured: 21.5 and 12.3 °C, 84 and 63 %, 10 km/h
// at 10 m, 100 m above the sea; net radiation as printed. Printed on the way: wind
// 2.078, pressure 100.1, psychrometric 0.0666, slope 0.122, 1.997 and 1.409 kPa.
func TestExample18FromItsMeasurements(t *testing.T) {
	mean := (21.5 + 12.3) / 2
	w := Weather{
		Radiation: 13.28, Celsius: mean, Wind: WindAt2M(10/3.6, 10),
		SaturationKPa: MeanSaturationKPa(21.5, 12.3), ActualKPa: ActualKPa(21.5, 12.3, 84, 63),
		Slope: SaturationSlope(mean), Psychrometric: Psychrometric(PressureKPa(100)),
	}
	require.InDelta(t, 2.078, w.Wind, 0.001)
	require.InDelta(t, 100.1, PressureKPa(100), 0.05)
	require.InDelta(t, 0.0666, w.Psychrometric, 0.0001)
	require.InDelta(t, 0.122, w.Slope, 0.0005)
	require.InDelta(t, 1.997, w.SaturationKPa, 0.001)
	require.InDelta(t, 1.409, w.ActualKPa, 0.001)
	radiative, aerodynamic := w.ETo()
	require.InDelta(t, 3.88, radiative+aerodynamic, 0.01)
}

// Computed from equation 11, kPa.
func TestVPD(t *testing.T) {
	for _, row := range []struct{ leaf, air, humidity, want float64 }{
		{20, 20, 50, 1.169}, {22, 22, 60, 1.058}, {24, 24, 60, 1.194}, {25, 25, 60, 1.267}, {26, 26, 65, 1.177},
		{28, 28, 55, 1.701}, {28, 28, 60, 1.512}, {30, 30, 50, 2.122}, {23, 25, 60, 0.909}, {27, 25, 60, 1.665},
		{25, 25, 100, 0},
	} {
		got, err := VPD(row.leaf, row.air, row.humidity)
		require.NoError(t, err)
		require.InDelta(t, row.want, got, 0.001, "%+v", row)
	}
	cold, err := VPD(18, 25, 90)
	require.NoError(t, err)
	require.Negative(t, cold, "water condenses on a cold leaf")
	for _, row := range [][3]float64{{25, 25, 101}, {25, 25, -1}, {25, 51, 50}, {math.NaN(), 25, 50}, {25, 25, math.NaN()}} {
		_, err := VPD(row[0], row[1], row[2])
		require.Error(t, err, "%v", row)
	}
}

// FAO-56 equation 84: full uptake until p of the water is gone, none when all is (by
// hand; p 0.40 is tomato's in its table 22, from memory).
func TestStress(t *testing.T) {
	for depleted, want := range map[float64]float64{0: 1, 39.9: 1, 40: 1, 70: 0.5, 100: 0, 120: 0} {
		got, err := Stress(100, depleted, 0.40)
		require.NoError(t, err)
		require.InDelta(t, want, got, 1e-12, "%g", depleted)
	}
	for _, row := range [][3]float64{{0, 1, 0.4}, {100, -1, 0.4}, {100, 1, 1}, {100, math.NaN(), 0.4}} {
		_, err := Stress(row[0], row[1], row[2])
		require.Error(t, err, "%v", row)
	}
}
