package substrate

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Values computed from each formula. That Malmberg & Maryott give 78.30 at 25 °C, to
// better than 0.1 %, stands in their own abstract (J. Res. NBS 56:1-8, 1956); their
// coefficients and those after Wyman & Ingalls were seen in transcriptions; Kaatze's
// and the line are from memory.
func TestPermittivityOfWater(t *testing.T) {
	at := []float64{0, 10, 15, 20, 25, 30, 40}
	for m, want := range map[WaterModel][]float64{
		MalmbergMaryott: {87.740, 83.832, 81.945, 80.103, 78.303, 76.545, 73.150},
		WymanIngalls:    {88.149, 84.152, 82.232, 80.362, 78.540, 76.765, 73.348},
		Kaatze:          {87.910, 83.971, 82.068, 80.208, 78.391, 76.614, 73.181},
		LinearWater:     {87.70, 84.00, 82.15, 80.30, 78.45, 76.60, 72.90},
	} {
		for i, celsius := range at {
			got, err := m.Permittivity(celsius)
			require.NoError(t, err)
			require.InDelta(t, want[i], got, 0.001, "%s at %g °C", m, celsius)
		}
	}
	got, err := MalmbergMaryott.Permittivity(25)
	require.NoError(t, err)
	require.InEpsilon(t, 78.30, got, 0.001)
}

// Independent measurements of one quantity: the four must agree within 0.5.
func TestModelsOfWaterAgree(t *testing.T) {
	for celsius := 0.0; celsius <= 40; celsius += 0.25 {
		low, high := math.Inf(1), math.Inf(-1)
		for _, m := range []WaterModel{MalmbergMaryott, WymanIngalls, Kaatze, LinearWater} {
			e, err := m.Permittivity(celsius)
			require.NoError(t, err)
			low, high = min(low, e), max(high, e)
		}
		require.Less(t, high-low, 0.5, "at %g °C", celsius)
	}
}

func TestPermittivityOfWaterRefuses(t *testing.T) {
	for _, celsius := range []float64{-0.01, 50.01, math.NaN(), math.Inf(1)} {
		_, err := MalmbergMaryott.Permittivity(celsius)
		require.Error(t, err)
	}
	_, err := WaterModel("none").Permittivity(20)
	require.ErrorContains(t, err, "none")
}
