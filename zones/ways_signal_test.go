package zones

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones/substrate"
)

// What a moisture that was told from permittivity leans on.
func TestSignalWords(t *testing.T) {
	s := signal{medium: &Medium{Curve: substrate.Curve{Name: "a curve"}}, permittivity: 30}
	require.Empty(t, s.words(), "sent as moisture")
	s.flags = substrate.AboveRange
	require.Contains(t, s.words(), "at least so wet: permittivity 30.0 by")
	s.flags = substrate.Uncalibrated
	require.Equal(t, "; from permittivity 30.0 by a curve, not calibrated in this substrate", s.words())
	s.medium.Curve.Doubt, s.flags = 0.04, substrate.TemperatureAssumed
	require.Equal(t, "; from permittivity 30.0 by a curve, good to 4 points", s.words())
	p := newTestProbe()
	p.outside, p.signal = true, signal{medium: s.medium, permittivity: 1.2, flags: substrate.NearAir}
	require.Contains(t, p.words(ProbeImplausible, 0), "permittivity 1.2: ")
}

// A probe that brings its EC to 25 °C itself needs no temperature; one whose temperature
// cannot be is read as if it sent none.
func TestSaltsWithoutATemperature(t *testing.T) {
	coir := Medium{Curve: substrate.DefaultCurve("coir"), ECAt25: true, PoreOff: 4.1}
	p := probeIn(coir, 0)
	r := ofPermittivity(30)
	r.EC = 1
	p.sees(1, r)
	p.sees(2, r)
	at25, pore, _ := p.salts()
	require.Equal(t, 1.0, *at25)
	require.Greater(t, *pore, 1.0)
	for _, celsius := range []float64{-5, 60, math.NaN()} {
		q := probeIn(coir, 0)
		bare := bare()
		bare.Moisture, bare.HasMoisture = 60000, true
		q.sees(1, bare)
		k, _, ok := q.dielectric(celsius)
		require.True(t, ok)
		want, _, _ := q.dielectric(math.NaN())
		require.Equal(t, want, k, "%g °C is out of the curve's range", celsius)
	}
	r.Temperature = 20
	p.sees(3, r)
	at25, _, _ = p.salts()
	require.Equal(t, 1.0, *at25, "it is at 25 °C already")
}

// A band with one open end, and one that a plan changes.
func TestBandsOverAPlan(t *testing.T) {
	low, high := 18.0, 26.0
	b := Band{Below: &low}
	_, _, out := b.out(90)
	require.False(t, out, "there is no upper end")
	p := benchPlan(1, 2)
	p.Zones[0].PoreEC = &Band{Above: &high, For: time.Minute}
	g := newRig(t, p)
	require.False(t, g.room.zoneBy["a"].noteBands(g.room.t), "no probe tells its pore EC, and nobody watches the warmth")
	for hash, change := range map[string]func(z *Zone){
		"0001": func(z *Zone) { z.RootTemperature = &b },
		"0002": func(z *Zone) { z.PoreEC = nil },
		"0003": func(*Zone) {},
	} {
		z := g.room.zoneBy["a"]
		z.poreBand.known = true
		n := benchPlan(1, 2)
		n.Hash, n.Zones[0].PoreEC, n.Zones[0].RootTemperature = hash, z.cfg.PoreEC, z.cfg.RootTemperature
		was := n.Zones[0]
		change(&n.Zones[0])
		g.step(&NewPlan{n})
		same := was.PoreEC == n.Zones[0].PoreEC && was.RootTemperature == n.Zones[0].RootTemperature
		require.Equal(t, same, g.room.zoneBy["a"].poreBand.known, "what a band saw is of that band alone")
	}
}
