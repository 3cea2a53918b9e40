package substrate

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// The form: EC / (1 + 0.02 (T - 25)). At 15 °C that is 1.250; the form EC (1 - 0.02
// (T - 25)), which is also met, gives 1.200 and is wrong.
func TestFormOfTemperatureCompensation(t *testing.T) {
	for celsius, want := range map[float64]float64{15: 1.250, 20: 1 / 0.9, 25: 1, 30: 1 / 1.1, 35: 1 / 1.2} {
		got, err := Conductivity(1).At25(celsius)
		require.NoError(t, err)
		require.InDelta(t, want, float64(got), 1e-12, "%g °C", celsius)
	}
	for _, celsius := range []float64{-1, 51, math.NaN()} {
		_, err := Conductivity(1).At25(celsius)
		require.Error(t, err)
	}
}

// Against three published sets of factors within 0.6 % from 18 to 28 °C: ISO 7888:1985
// (as reproduced by a laboratory leaflet), USDA Handbook 60, Richards 1954, table 15
// (from memory), Sheets & Hendrickx 1995 as corrected by Corwin & Lesch 2005 (from two
// transcriptions).
func TestTemperatureCompensationAgainstTables(t *testing.T) {
	iso := map[float64]float64{18: 1.168, 20: 1.116, 22: 1.067, 24: 1.021, 25: 1.000, 26: 0.979, 28: 0.940}
	usda := map[float64]float64{18: 1.163, 20: 1.112, 21: 1.087, 22: 1.064, 23: 1.043, 24: 1.020, 25: 1.000, 26: 0.979, 27: 0.960, 28: 0.943}
	sheets := map[float64]float64{}
	for celsius := 18.0; celsius <= 28; celsius++ {
		sheets[celsius] = 0.4470 + 1.4034*math.Exp(-celsius/26.815)
	}
	for name, table := range map[string]map[float64]float64{"iso": iso, "usda": usda, "sheets": sheets} {
		for celsius, want := range table {
			got, err := Conductivity(1).At25(celsius)
			require.NoError(t, err)
			require.InEpsilon(t, want, float64(got), 0.006, "%s at %g °C", name, celsius)
		}
	}
}

// Hilhorst 2000, with water's permittivity 80.3 - 0.37 (T - 20); values computed. The
// last row is the worked example of open code naming the paper: water 80, offset 4,
// pore EC 0.5, bulk EC 0.05, permittivity 12; its water is met at 20.81 °C.
func TestPoreEC(t *testing.T) {
	for _, row := range []struct{ bulk, k, celsius, offset, want, within float64 }{
		{0.5, 30, 20, 4.1, 1.5502, 5.1e-5},
		{0.5, 30, 25, 4.1, 1.5145, 5.1e-5},
		{1.0, 40, 22, 4.1, 2.2162, 5.1e-5},
		{2.0, 55, 24, 4.1, 3.0971, 5.1e-5},
		{0.8, 35, 25, 1.64, 1.8813, 5.1e-5},
		{0.8, 35, 25, 4.1, 2.0311, 5.1e-5},
		{0.8, 35, 25, 6, 2.1641, 5.1e-5},
		{0.1, 12, 20, 4.1, 1.0165, 5.1e-5},
		{0.05, 12, 20 + 0.3/0.37, 4, 0.5, 1e-12},
	} {
		got, err := PoreEC(Bulk{Conductivity(row.bulk), row.k, row.celsius, 0.3}, row.offset)
		require.NoError(t, err)
		require.InDelta(t, row.want, float64(got), row.within, "%+v", row)
	}
}

// Compensating before or after is the same; the formula is a ratio.
func TestPoreECIsAtTheTemperatureOfTheBulk(t *testing.T) {
	b := Bulk{1.0, 40, 19, 0.5}
	pore, err := PoreEC(b, 4.1)
	require.NoError(t, err)
	after, err := pore.At25(19)
	require.NoError(t, err)
	b.EC, err = b.EC.At25(19)
	require.NoError(t, err)
	before, err := PoreEC(b, 4.1)
	require.NoError(t, err)
	require.InDelta(t, float64(before), float64(after), 1e-12)
}

// A dry probe: the formula would give 44.6 dS/m at permittivity 5. Refused, on both
// sides of each edge.
func TestPoreECRefusesDryProbes(t *testing.T) {
	for _, row := range []struct {
		k, theta float64
		dry      bool
	}{
		{5, 0.3, true}, {4.1, 0.3, true}, {1, 0, true}, {10.09, 0.3, true}, {10.11, 0.3, false},
		{30, 0.0999, true}, {30, 0.1, false},
	} {
		_, err := PoreEC(Bulk{0.5, row.k, 20, row.theta}, 4.1)
		if row.dry {
			require.ErrorIs(t, err, ErrDry, "%+v", row)
			continue
		}
		require.NoError(t, err, "%+v", row)
	}
}

func TestPoreECRefusesNonsense(t *testing.T) {
	good := Bulk{0.5, 30, 20, 0.3}
	for name, change := range map[string]func(*Bulk){
		"no EC":       func(b *Bulk) { b.EC = 0 },
		"EC":          func(b *Bulk) { b.EC = Conductivity(math.NaN()) },
		"S/m as µS/m": func(b *Bulk) { b.EC = 1800 },
		"k":           func(b *Bulk) { b.Permittivity = math.NaN() },
		"hot":         func(b *Bulk) { b.Celsius = 51 },
		"percent":     func(b *Bulk) { b.Theta = 30 },
		"no theta":    func(b *Bulk) { b.Theta = math.NaN() },
	} {
		b := good
		change(&b)
		_, err := PoreEC(b, 4.1)
		require.Error(t, err, name)
		require.NotErrorIs(t, err, ErrDry, name)
	}
	_, err := PoreEC(good, -1)
	require.Error(t, err)
}
