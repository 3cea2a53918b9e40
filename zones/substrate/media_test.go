package substrate

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Every number of a medium says how sure it is, and no curve is claimed to be a fit.
func TestMediaSayTheirStanding(t *testing.T) {
	for _, m := range Media() {
		if m.Porosity.Known() {
			require.NotEmpty(t, m.Porosity.Source, m.Name)
			require.InDelta(t, 0.9, m.Porosity.Value, 0.1, m.Name)
		}
		require.True(t, m.PoreShift.Known(), m.Name)
		require.NotEmpty(t, m.PoreShift.Source, m.Name)
		if m.Fitted == "" {
			require.Zero(t, m.Retention, m.Name)
			continue
		}
		require.Equal(t, Ours, m.Fitted, m.Name)
		require.NoError(t, m.Retention.Check(), m.Name)
		require.Equal(t, m.Porosity.Value, m.Retention.ThetaS, m.Name)
		behaves(t, m.Retention)
	}
	require.False(t, Figure{}.Known())
}

// The illustrative media: water at 1, 5, 10 kPa, air, easily available, buffer, and
// capacity at 7.5, 10, 15, 20 cm, computed to 0.0005. Coir and peat lie in the ranges
// of De Boodt & Verdonck 1972 (from memory): air 0.20 to 0.30, easily available 0.20
// to 0.30, buffer 0.04 to 0.10; peat's air a little under.
func TestMediaHoldTheirWater(t *testing.T) {
	for kind, want := range map[string][10]float64{
		"stone wool": {.794, .093, .031, .146, .701, .062, .923, .902, .837, .758},
		"coir":       {.595, .342, .272, .285, .253, .070, .764, .729, .672, .629},
		"peat":       {.738, .459, .367, .192, .278, .093, .862, .837, .792, .755},
	} {
		m, ok := MediumOf(kind)
		require.True(t, ok)
		r := m.Retention
		a := r.Available()
		got := []float64{
			r.Theta(CentimetresPerKPa), r.Theta(5 * CentimetresPerKPa), r.Theta(10 * CentimetresPerKPa),
			a.Air, a.Easily, a.Buffer,
		}
		for _, height := range []float64{7.5, 10, 15, 20} {
			c, err := r.Capacity(height)
			require.NoError(t, err)
			got = append(got, c)
		}
		require.InDeltaSlice(t, want[:], got, 6e-4, kind)
		if kind != "stone wool" {
			require.InDelta(t, 0.25, a.Air, 0.06)
			require.InDelta(t, 0.25, a.Easily, 0.05)
			require.InDelta(t, 0.07, a.Buffer, 0.03)
		}
	}
}

func TestMediumOf(t *testing.T) {
	for kind, name := range map[string]string{
		"coir": "coir", "Coco peat": "coir", "Stone Wool": "stone-wool", "stone-wool": "stone-wool",
		"sphagnum peat": "peat", "composted bark": "bark", "perlite": "perlite", "soil": "mineral soil",
	} {
		m, ok := MediumOf(kind)
		require.True(t, ok, kind)
		require.Equal(t, name, m.Name, kind)
	}
	for _, kind := range []string{"", "soilless", "potting soil", "pumice"} {
		m, ok := MediumOf(kind)
		require.False(t, ok, kind)
		require.True(t, m.Soilless, kind)
		require.Zero(t, m.Retention, kind)
	}
}
