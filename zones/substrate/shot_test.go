package substrate

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// By hand: 5 % of 6.5 L are 325 mL, 585 s at 2 L/h; 3 % of 0.65 L are 19.5 mL, 35.1 s;
// 3 % of a US gallon are 113.56 mL, 204.4 s, 102.2 s at 4 L/h.
func TestDose(t *testing.T) {
	for _, row := range []struct {
		d                   Drip
		points, ml, seconds float64
		within              float64
	}{
		{Drip{6500, 1, 2}, 5, 325, 585, 1e-9},
		{Drip{650, 1, 2}, 3, 19.5, 35.1, 1e-9},
		{Drip{6500, 2, 2}, 5, 325, 292.5, 1e-9},
		{Drip{1000 * LitresPerUSGallon, 1, 2}, 3, 113.56, 204.4, 0.05},
		{Drip{1000 * LitresPerUSGallon, 1, 4}, 3, 113.56, 102.2, 0.05},
	} {
		dose, err := row.d.OfPoints(row.points)
		require.NoError(t, err)
		require.InDelta(t, row.ml, dose.ML, row.within)
		require.InDelta(t, row.seconds, dose.Seconds, row.within)
		for _, back := range []func() (Dose, error){
			func() (Dose, error) { return row.d.OfML(dose.ML) },
			func() (Dose, error) { return row.d.OfSeconds(dose.Seconds) },
			func() (Dose, error) { return row.d.OfPoints(dose.Points) },
		} {
			got, err := back()
			require.NoError(t, err)
			require.InDeltaSlice(t, []float64{dose.ML, dose.Seconds, dose.Points}, []float64{got.ML, got.Seconds, got.Points}, 1e-9)
		}
	}
}

func TestDoseRefuses(t *testing.T) {
	for _, d := range []Drip{{}, {0, 1, 2}, {6500, 0, 2}, {6500, 1, -2}, {math.NaN(), 1, 2}, {math.Inf(1), 1, 2}} {
		_, err := d.OfPoints(3)
		require.Error(t, err, "%+v", d)
		_, err = d.OfSeconds(3)
		require.Error(t, err, "%+v", d)
	}
	for _, ml := range []float64{-1, math.NaN(), math.Inf(1)} {
		_, err := Drip{6500, 1, 2}.OfML(ml)
		require.Error(t, err)
	}
}

// By hand: 60.0 to 51.35 % is 8.65 points, 14.42 % of the peak.
func TestDryBack(t *testing.T) {
	d, err := DryBackOf(60, 51.35)
	require.NoError(t, err)
	require.InDelta(t, 8.65, d.Points, 1e-9)
	require.InDelta(t, 14.42, d.Relative, 0.005)
	for _, row := range [][2]float64{{50, 51}, {0, 0}, {101, 50}, {50, -1}, {math.NaN(), 1}, {50, math.NaN()}} {
		_, err := DryBackOf(row[0], row[1])
		require.Error(t, err, "%v", row)
	}
}
