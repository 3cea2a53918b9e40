package zones

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones/substrate"
)

func probeIn(medium Medium, offset Level) *probe {
	p := newTestProbe()
	p.signal = signal{medium: &medium, offset: offset, permittivity: math.NaN()}
	return p
}

func (p *probe) sees(at int, rd Reading) {
	p.take(&rd, time.Duration(at)*m)
}

func bare() Reading {
	return Reading{Permittivity: math.NaN(), EC: math.NaN(), Temperature: math.NaN()}
}

func ofPermittivity(k float64) Reading {
	r := bare()
	r.Permittivity = k
	return r
}

// Nagare et al. 2011 gives 0.6009 at a permittivity of 30 and 0.8319 at 60, where its
// range ends; Topp 1980 would give 0.4441 at 30 (docs/substrate.md has the sources).
func TestMoistureFromPermittivity(t *testing.T) {
	coir := Medium{Curve: substrate.DefaultCurve("coir")}
	for _, c := range []struct {
		name    string
		k       float64
		offset  Level
		level   Level
		outside bool
	}{
		{"in range", 30, 0, 60090, false},
		{"with an offset", 30, -1500, 58590, false},
		{"at the wet end of the range", 60, 0, 83190, false},
		{"wetter than the curve tells: at least so wet", 61, 0, 83190, false},
		{"at the dry end of the range", 3, 0, 7304, false},
		{"drier than the curve tells opens nothing", 2.99, 0, 7304, true},
		{"as good as in air", 1.2, 0, 7304, true},
	} {
		p := probeIn(coir, c.offset)
		p.sees(1, ofPermittivity(c.k))
		p.sees(2, ofPermittivity(c.k))
		require.InDelta(t, float64(c.level), float64(p.value), 6, c.name)
		require.Equal(t, c.outside, p.outside, c.name)
		require.Equal(t, !c.outside, p.counts(2*m), c.name)
	}
}

func TestPermittivityThatTellsNothing(t *testing.T) {
	coir := Medium{Curve: substrate.DefaultCurve("coir")}
	for name, k := range map[string]float64{"none": math.NaN(), "zero": 0, "negative": -4, "over 100": 100.1, "infinite": math.Inf(1)} {
		p := probeIn(coir, 0)
		p.sees(1, ofPermittivity(k))
		require.False(t, p.heard, name)
		require.True(t, p.noMoisture, name)
	}
	p := newTestProbe() // in no zone: no curve
	p.sees(1, ofPermittivity(30))
	require.False(t, p.heard)
}

// A probe that sends moisture is taken at its word, also when its permittivity comes
// in a pack of its own.
func TestMoistureThatIsSentIsTakenAsItIs(t *testing.T) {
	p := probeIn(Medium{Curve: substrate.DefaultCurve("coir")}, 2000)
	both := ofPermittivity(30)
	both.Moisture, both.HasMoisture = 41000, true
	p.sees(1, both)
	require.Equal(t, Level(43000), p.value, "with its offset, and no curve")
	p.sees(2, ofPermittivity(10))
	require.Equal(t, Level(43000), p.value)
	require.Equal(t, 1, p.live, "and counts for no reading")
	p.forget()
	p.sees(3, ofPermittivity(30))
	require.InDelta(t, 62090, float64(p.value), 6, "another probe answers at its place")
}

func TestOffsetStaysInRange(t *testing.T) {
	p := probeIn(Medium{}, -15000)
	r := bare()
	r.Moisture, r.HasMoisture = 3000, true
	p.sees(1, r)
	require.Equal(t, Level(0), p.value)
	require.True(t, p.outside)
}

// Hilhorst 2000 by hand: water at 22 °C has 80.3 - 0.37 (22 - 20) = 79.56; bulk 1.8
// mS/cm at 22 °C is 1.8 / 0.94 = 1.9149 at 25 °C; permittivity 30, offset 1.64:
// 79.56 x 1.9149 / 28.36 = 5.372.
func TestPoreEC(t *testing.T) {
	medium := Medium{Curve: substrate.DefaultCurve("coir"), PoreOff: 1.64}
	r := ofPermittivity(30)
	r.EC, r.Temperature = 1.8, 22
	p := probeIn(medium, 0)
	p.sees(1, r)
	at25, pore, why := p.salts()
	require.InDelta(t, 1.9149, *at25, 1e-4)
	require.InDelta(t, 5.372, *pore, 1e-3)
	require.Contains(t, why, "Hilhorst")

	medium.ECAt25 = true // not brought to 25 °C twice
	p = probeIn(medium, 0)
	p.sees(1, r)
	at25, pore, _ = p.salts()
	require.Equal(t, 1.8, *at25)
	require.InDelta(t, 79.56*1.8/28.36, *pore, 1e-9)
}

func TestPoreECThatIsNotTold(t *testing.T) {
	medium := Medium{Curve: substrate.DefaultCurve("coir"), PoreOff: 1.64}
	for name, change := range map[string]func(r *Reading){
		"no EC":          func(r *Reading) { r.EC = math.NaN() },
		"no temperature": func(r *Reading) { r.Temperature = math.NaN() },
		"hot":            func(r *Reading) { r.Temperature = 51 },
		"dry":            func(r *Reading) { r.Permittivity = 4 },
	} {
		r := ofPermittivity(30)
		r.EC, r.Temperature = 1.8, 22
		change(&r)
		p := probeIn(medium, 0)
		p.sees(1, r)
		_, pore, _ := p.salts()
		require.Nil(t, pore, name)
	}
	// Moisture without permittivity: reckoned back, and said.
	r := bare()
	r.Moisture, r.HasMoisture, r.EC, r.Temperature = 60090, true, 1.8, 22
	p := probeIn(medium, 0)
	p.sees(1, r)
	_, pore, why := p.salts()
	require.InDelta(t, 5.372, *pore, 0.01)
	require.Contains(t, why, "reckoned back from its moisture by nagare-2011")
}

// Wetter than its curve can tell, a probe counts as at the limit that closes valves,
// whatever its offset; its own number stays what the curve tells.
func TestTooWetToTellCloses(t *testing.T) {
	p := respondPlan()
	p.Zones[0].Medium = Medium{Curve: substrate.DefaultCurve("coir")}
	p.Zones[0].Limits.MaxMoisture = 90000
	for i := range p.Probes {
		p.Probes[i].Offset = -5000
	}
	for _, c := range []struct {
		k   float64
		wet bool
	}{{60, false}, {60.1, true}} { // the curve ends at 60, with 83.2 %
		g := rawRig(t, p, NewMemory())
		for range 6 {
			g.pass(10 * time.Second)
			for _, pr := range p.Probes {
				r := ofPermittivity(c.k)
				r.Place = pr.Place
				g.step(&r)
			}
		}
		require.InDelta(t, 78190, float64(g.room.probes[0].value), 6)
		require.Equal(t, c.wet, g.alarmed(OverWet, p.Zones[0].ID), "%g", c.k)
	}
}

// The pore EC follows the permittivity where nothing else changes: Hilhorst (2000), the
// pore water's EC goes with 1 / (permittivity - offset).
func TestPoreECFollowsThePermittivity(t *testing.T) {
	p := benchPlan(1, 1)
	p.Zones[0].Medium.PoreOff = 4
	g := newRig(t, p)
	pore := func(k float64) float64 {
		for range 2 {
			g.pass(time.Second)
			g.step(&Reading{Place: p.Probes[0].Place, Moisture: 45000, HasMoisture: true, EC: 1, Temperature: 25, Permittivity: k})
		}
		require.NotNil(t, g.zone("a").PoreEC)
		return *g.zone("a").PoreEC
	}
	thin := pore(24)
	require.InDelta(t, thin/2, pore(44), 1e-9)
	require.InDelta(t, thin, pore(24), 1e-9)
}
