package configs

import (
	"math/big"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
	"rillgate/zones/wiring"
)

// Factors of NIST SP 811 (2008), appendix B.8: foot 0.3048 m, inch 0.0254 m, US
// gallon 3.785412E-3 m3 (exactly 231 cubic inches), square foot 0.09290304 m2, US
// gallon per minute 6.309020E-5 m3/s.
func TestConversionsAreExact(t *testing.T) {
	inch := big.NewRat(254, 10000)
	cube := new(big.Rat).Mul(inch, new(big.Rat).Mul(inch, inch)) // m3
	gallon := new(big.Rat).Mul(big.NewRat(231*1000000, 1), cube) // mL
	foot := new(big.Rat).Mul(big.NewRat(12, 1), inch)
	for _, c := range []struct {
		text string
		dim  dimension
		want *big.Rat
	}{
		{"1 ft", length, foot}, {"1 in", length, inch}, {"1 gal", volume, gallon},
		{"1 sqft", area, new(big.Rat).Mul(foot, foot)},
		{"1000 gal/h", flow, gallon},
		{"1 gal/min", flow, new(big.Rat).Mul(gallon, big.NewRat(60, 1000))},
		{"1 L/min", flow, big.NewRat(60, 1)}, {"6.5 L", volume, big.NewRat(6500, 1)}, {"20 cm", length, big.NewRat(1, 5)},
		{"1.5 h", timeSpan, big.NewRat(5400, 1)}, {"90 d", timeSpan, big.NewRat(90*86400, 1)}, {"250 mA", current, big.NewRat(1, 4)},
	} {
		m, f := amount(c.dim, "0 "+unitsOf(c.dim)[0], "99999999 "+unitsOf(c.dim)[0], "").read(c.text)
		require.Nil(t, f, c.text)
		require.Zero(t, c.want.Cmp(m.value), "%s is %s, not %s", c.text, c.want, m.value)
	}
	require.InDelta(t, 6.309020e-5*3600*1000, mustFloat("1 gal/min", flow), 1e-4, "SP 811 prints seven digits")
	require.InDelta(t, 3785.412, mustFloat("1 gal", volume), 1e-3)
}

func mustFloat(text string, d dimension) float64 {
	m, _ := amount(d, "0 "+unitsOf(d)[0], "99999999 "+unitsOf(d)[0], "").read(text)
	return m.float()
}

// A level is whole thousandths of a percent, whatever binary fractions make of it.
func TestLevelsAreRoundedExactly(t *testing.T) {
	q := amount(percentage, "0 %", "100 %", "45 %")
	for n := range 100001 {
		text := big.NewRat(int64(n), 1000).FloatString(3) + " %"
		m, f := q.read(text)
		if f != nil || m.level() != zones.Level(n) {
			require.Nil(t, f, text)
			require.Equal(t, zones.Level(n), m.level(), text)
		}
	}
	for text, want := range map[string]zones.Level{"46.2 %": 46200, "46.20049 %": 46200, "46.2005 %": 46201, "0.0005 %": 1, ".5%": 500} {
		m, f := q.read(text)
		require.Nil(t, f, text)
		require.Equal(t, want, m.level(), text)
	}
}

func TestNumbersThatAreNone(t *testing.T) {
	q := amount(timeSpan, "1 s", "1 h", "6 min")
	for text, code := range map[string]string{
		"": CodeUnit, " ": CodeUnit, "min": CodeUnit, "6": CodeUnit, "6 ": CodeUnit, "+ min": CodeUnit, "1.2.3 s": CodeUnit, "--6 s": CodeUnit, "6 min 30 s": CodeUnit,
		".nan": CodeRange, "NaN s": CodeRange, ".inf": CodeRange, "-.inf": CodeRange, "inf min": CodeRange, "Infinity": CodeRange, "+.Inf": CodeRange,
		"0x10 s": CodeUnit, "1_000 s": CodeUnit, "1e2 s": CodeUnit, "6,5 min": CodeText, "-1 s": CodeRange, "0 s": CodeRange, "61 min": CodeRange,
		"2 L": CodeUnit, "5 MIN": CodeUnit, "5 ms": CodeUnit, "٣ min": CodeUnit, "99999999999999999999 s": CodeRange,
	} {
		_, f := q.read(text)
		require.NotNil(t, f, text)
		require.Equal(t, code, f.code, text)
		require.NotEmpty(t, f.hint, text)
	}
}

// The ceilings of the tables are those that are compiled into the core.
func TestTablesKeepTheCeilings(t *testing.T) {
	at := func(sh *shape, key string, max bool) time.Duration {
		l := sh.field(key).kind.(quantity).limits[0]
		text := l.min
		if max {
			text = l.max
		}
		return measured{timeSpan, bound(text), ""}.duration()
	}
	require.Equal(t, zones.MaxRunCeiling, at(limitsShape, "max_run", true))
	require.Equal(t, zones.MaxPerDayCeiling, at(limitsShape, "max_per_day", true))
	require.Equal(t, zones.MinRestFloor, at(limitsShape, "min_rest", false))
	require.Equal(t, zones.LeaseMin, at(gatewayShape, "lease", false))
	require.Equal(t, zones.LeaseMax, at(gatewayShape, "lease", true))
	require.Equal(t, zones.MaxPerDayCeiling, at(timedShape, "max_per_day", true))
	require.Equal(t, zones.MaxRunCeiling, at(timedShape, "shot", true))
}

// Every bound and example of the tables is itself a good value.
func TestTablesAreSound(t *testing.T) {
	for _, sh := range []*shape{roomShape, scheduleShape, gatewayShape} {
		walkKinds(sh, func(key string, k kind) {
			q, ok := k.(quantity)
			if !ok {
				return
			}
			for _, l := range q.limits {
				require.Equal(t, -1, bound(l.min).Cmp(bound(l.max)), key)
			}
			_, f := q.read(q.example)
			require.Nil(t, f, "the example of %s", key)
		})
	}
	for name, u := range units {
		require.Contains(t, unitOrder, name)
		require.Contains(t, unitsOf(u.dim), name)
	}
	for written, name := range spellings {
		require.Contains(t, units, name)
		require.NotContains(t, units, written, "%s is a unit itself", written)
	}
}

// walkKinds visits every kind under a shape.
func walkKinds(k kind, visit func(key string, k kind)) {
	walkFrom("", k, visit)
}

func walkFrom(key string, k kind, visit func(string, kind)) {
	visit(key, k)
	switch k := k.(type) {
	case *shape:
		for _, f := range k.fields {
			walkFrom(key+"."+f.key, f.kind, visit)
		}
	case listOf:
		walkFrom(key, k.of, visit)
	case mapOf:
		walkFrom(key, k.of, visit)
	case oneOf:
		for _, o := range k {
			walkFrom(key, o, visit)
		}
	}
}

// Cross-sections of ASTM B258, as widely printed: 18 AWG 0.823 mm2, 22 AWG 0.326 mm2.
func TestWireSizes(t *testing.T) {
	for text, want := range map[string]float64{"18 AWG": 0.823, "22 AWG": 0.326, "0.75 mm2": 0.75} {
		m, f := quantity{[]limit{{gauge, "8 AWG", "30 AWG"}, {crossSection, "0.05 mm2", "10 mm2"}}, ""}.read(text)
		require.Nil(t, f)
		require.InDelta(t, want, wire(item[measured]{v: m, ok: true, text: text}).MM2, 0.0006, text)
	}
}

func TestCableRuns(t *testing.T) {
	w := loadExample(t, ExampleDemo).Wiring
	run := func(terminal, probe int) float64 {
		m, known := w.Controllers[0].Terminals[terminal].Run(probe).Value()
		require.True(t, known)
		return m
	}
	require.InDelta(t, 12+0+5, run(0, 0), 1e-9)
	require.InDelta(t, 12+3+3+3+5, run(0, 3), 1e-9, "all boxes up to its own")
	require.InDelta(t, 15+6+5, run(1, 3), 1e-9, "its own lead alone")
	require.Equal(t, 18.0, w.Controllers[0].Valves[1].LengthM)
	require.InDelta(t, 0.75, w.Controllers[0].Valves[1].Wire.MM2, 1e-12)
	require.Equal(t, []wiring.Supply{{ID: "tank", MaxOpen: 1}}, w.Supplies)
	require.Equal(t, "tank", w.Controllers[0].Valves[2].Supply)
	require.True(t, w.Controllers[0].Valves[2].Master)
	base, _ := Parse(baseFiles(t))
	require.Negative(t, base.Wiring.Controllers[0].Valves[0].LengthM, "not given")
}
