package substrate

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// 1 dS/m = 1 mS/cm = 1000 µS/cm = 0.1 S/m, by the prefixes of SI.
func TestUnitsOfConductivity(t *testing.T) {
	one := map[Unit]float64{
		DeciSiemensPerMetre: 1, MilliSiemensPerCentimetre: 1, MicroSiemensPerCentimetre: 1000, SiemensPerMetre: 0.1,
	}
	for from, value := range one {
		c, err := from.In(value)
		require.NoError(t, err)
		require.Equal(t, Conductivity(1), c, from)
		for to, want := range one {
			got, err := c.In(to)
			require.NoError(t, err)
			require.Equal(t, want, got, "%s to %s", from, to)
		}
	}
	_, err := Unit("mS/m").In(1)
	require.Error(t, err)
	_, err = Conductivity(1).In("ppm")
	require.Error(t, err)
	for _, bad := range []float64{-0.1, math.NaN(), math.Inf(1)} {
		_, err := SiemensPerMetre.In(bad)
		require.Error(t, err)
	}
}

func TestParseConductivity(t *testing.T) {
	for text, want := range map[string]Conductivity{
		"1.8 mS/cm": 1.8, "1.8dS/m": 1.8, "0.18 S/m": 1.8, "1800 uS/cm": 1.8,
		"1800 \u00b5S/cm": 1.8, "1800 \u03bcS/cm": 1.8, " 0 S/m ": 0,
	} {
		got, err := ParseConductivity(text)
		require.NoError(t, err, text)
		require.InDelta(t, float64(want), float64(got), 1e-15, text)
	}
	for _, text := range []string{
		"", "1.8", "mS/cm", "1.8 ms/cm", "1.8 MS/cm", "180 mS/m", "1.8 s/m", "900 ppm", "1,8 mS/cm", "-1.8 mS/cm",
		"1.8 mS", "1.8 mS/cm x", "1.8.1 mS/cm", "NaN mS/cm", "1e3 uS/cm", "1.8 mS/\u0441m",
	} {
		_, err := ParseConductivity(text)
		require.Error(t, err, text)
	}
}
