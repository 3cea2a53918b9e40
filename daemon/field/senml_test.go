package field_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/field"
	"rillgate/zones"
)

func decode(payload string) ([]zones.Reading, []*field.Fault) {
	return field.DecodeReadings("north", []byte(payload))
}

func place(terminal int, address string) zones.Place {
	return zones.Place{Controller: "north", Terminal: terminal, Address: address}
}

// same compares readings, NaN to NaN.
func same(t *testing.T, want, got []zones.Reading) {
	t.Helper()
	require.Len(t, got, len(want))
	for i := range want {
		w, g := want[i], got[i]
		for _, pair := range [][2]*float64{{&w.EC, &g.EC}, {&w.Temperature, &g.Temperature}, {&w.Permittivity, &g.Permittivity}} {
			if math.IsNaN(*pair[0]) {
				require.True(t, math.IsNaN(*pair[1]), "reading %d: a value came from nowhere", i)
				*pair[0], *pair[1] = 0, 0
			}
		}
		require.Equal(t, w, g)
	}
}

var nan = math.NaN()

func bare(p zones.Place) zones.Reading {
	return zones.Reading{Place: p, EC: nan, Temperature: nan, Permittivity: nan}
}

func wet(p zones.Place, level zones.Level) zones.Reading {
	r := bare(p)
	r.Moisture, r.HasMoisture = level, true
	return r
}

func at(r zones.Reading, seconds float64) zones.Reading {
	r.At, r.HasTime = time.Duration(seconds*1e6)*time.Microsecond, true
	return r
}

// The readings example of the field topics.
func TestDecodeReadingsOfOneProbe(t *testing.T) {
	got, faults := decode(`[{"bn":"1:0:","bt":1830000000,"n":"moisture","u":"/","v":0.462},{"n":"ec","u":"S/m","v":0.18},{"n":"temperature","u":"Cel","v":22.1}]`)
	require.Empty(t, faults)
	want := at(wet(place(1, "0"), 46200), 1830000000)
	want.EC, want.Temperature = 1.8, 22.1
	same(t, []zones.Reading{want}, got)
}

// Resolution of base fields: RFC 8428, sections 4.1 and 4.6. The pack has the shape
// of the RFC's example of section 5.1.2 (a base time, values at +0 s, +10 s, ...).
func TestDecodeReadingsAppliesBaseFields(t *testing.T) {
	two := func(a, b zones.Reading) []zones.Reading { return []zones.Reading{a, b} }
	cases := map[string]struct {
		payload string
		want    []zones.Reading
	}{
		"times are added to the base time": {
			`[{"bn":"1:0:moisture","bt":1.320067464e+09,"bu":"/","v":0.212},{"t":10,"v":0.213}]`,
			two(at(wet(place(1, "0"), 21200), 1320067464), at(wet(place(1, "0"), 21300), 1320067474)),
		},
		"a time without a base time": {
			`[{"n":"1:0:moisture","u":"/","v":0.5,"t":1830000000.25}]`,
			[]zones.Reading{at(wet(place(1, "0"), 50000), 1830000000.25)},
		},
		"a base name holds until the next": {
			`[{"bn":"1:a:","bu":"/","n":"moisture","v":0.1},{"bn":"12:Z:","n":"moisture","v":0.2}]`,
			two(wet(place(1, "a"), 10000), wet(place(12, "Z"), 20000)),
		},
		"a base field counts in its own record, wherever it stands": {
			`[{"v":0.1,"n":"moisture","bu":"/","bn":"1:0:"}]`,
			[]zones.Reading{wet(place(1, "0"), 10000)},
		},
		"a unit of its own goes before the base unit": {
			`[{"bn":"1:0:","bu":"Cel","n":"moisture","u":"/","v":0.1}]`,
			[]zones.Reading{wet(place(1, "0"), 10000)},
		},
		"the base value is added": {
			`[{"bn":"1:0:","bv":0.25,"n":"moisture","u":"/","v":0.125}]`,
			[]zones.Reading{wet(place(1, "0"), 37500)},
		},
		"base fields alone in a record": {
			`[{"bn":"1:0:","bt":1830000000},{"n":"moisture","u":"/","v":0.1}]`,
			[]zones.Reading{at(wet(place(1, "0"), 10000), 1830000000)},
		},
		"labels with escapes are the same labels": {
			`[{"\u0062n":"1:\u0030:","n":"mois\u0074ure","u":"\/","v":0.1}]`,
			[]zones.Reading{wet(place(1, "0"), 10000)},
		},
		"labels that are not known are stepped over": {
			`[{"bn":"1:0:","n":"moisture","u":"/","v":0.1,"l":[{"href":"x"}],"ut":60,"s":3,"bver":10}]`,
			[]zones.Reading{wet(place(1, "0"), 10000)},
		},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			got, faults := decode(c.payload)
			require.Empty(t, faults)
			same(t, c.want, got)
		})
	}
}

func TestDecodeReadingsJoinsWhatBelongsTogether(t *testing.T) {
	got, faults := decode(`[
		{"bn":"1:0:","n":"moisture","u":"/","v":0.40},
		{"bn":"1:1:","n":"moisture","u":"/","v":0.50},
		{"bn":"1:0:","n":"temperature","u":"Cel","v":20},
		{"bn":"1:1:","n":"serial","vs":"SN-7"},
		{"bn":"1:0:","n":"permittivity","u":"/","v":20.5}]`)
	require.Empty(t, faults)
	first, second := wet(place(1, "0"), 40000), wet(place(1, "1"), 50000)
	first.Temperature, first.Permittivity, second.Serial = 20, 20.5, "SN-7"
	same(t, []zones.Reading{first, second}, got)
}

func TestDecodeReadingsRoundsToTheNearestThousandth(t *testing.T) {
	for text, want := range map[string]zones.Level{
		"0": 0, "-0": 0, "1": 100000, "1.0e0": 100000, "0.462": 46200, "0.000004": 0, "0.000006": 1, "0.123456": 12346,
		"4.62e-1": 46200, "46200E-5": 46200, "0.29": 29000, "0.58": 58000, "0.999999": 100000,
	} {
		got, faults := decode(`[{"bn":"1:0:","n":"moisture","u":"/","v":` + text + `}]`)
		require.Empty(t, faults, text)
		require.Equal(t, want, got[0].Moisture, text)
	}
}

// A part of a pack that is wrong takes only its own probe, or its own value, away.
func TestDecodeReadingsKeepsWhatIsRight(t *testing.T) {
	good := `,{"bn":"2:0:","n":"moisture","u":"/","v":0.3}]`
	kept := wet(place(2, "0"), 30000)
	cases := map[string]struct{ first, cause, hint string }{
		"percent as ratio":     {`[{"bn":"1:0:","n":"moisture","u":"/","v":46.2}`, "value", "46.2 with unit /: 0 to 1 is due"},
		"negative":             {`[{"bn":"1:0:","n":"moisture","u":"/","v":-0.01}`, "value", "-0.01 with unit /: 0 to 1 is due"},
		"unit %":               {`[{"bn":"1:0:","n":"moisture","u":"%","v":46.2}`, "unit", "46.2 with unit %: unit / is due, 0 to 1 (46.2 % is 0.462)"},
		"no unit":              {`[{"bn":"1:0:","n":"moisture","v":0.4}`, "unit", "moisture without unit: / is due"},
		"another unit":         {`[{"bn":"1:0:","n":"moisture","u":"m3/m3","v":0.4}`, "unit", `moisture with unit "m3/m3": unit / is due, 0 to 1`},
		"too large a number":   {`[{"bn":"1:0:","n":"moisture","u":"/","v":1e400}`, "value", "1e400 is a number that nothing can hold"},
		"null":                 {`[{"bn":"1:0:","n":"moisture","u":"/","v":null}`, "value", "v of a record is not a number"},
		"text for a number":    {`[{"bn":"1:0:","n":"moisture","u":"/","v":"0.4"}`, "value", "v of a record is not a number"},
		"a string value":       {`[{"bn":"1:0:","n":"moisture","u":"/","vs":"0.4"}`, "value", "moisture carries no number"},
		"two values":           {`[{"bn":"1:0:","n":"moisture","u":"/","v":0.4,"vs":"x"}`, "value", "nothing beside it"},
		"no value":             {`[{"bn":"1:0:","n":"moisture","u":"/"}`, "value", "moisture carries no number"},
		"a sum alone":          {`[{"bn":"1:0:","n":"moisture","u":"/","s":0.4}`, "value", "moisture carries no number"},
		"said twice":           {`[{"bn":"1:0:","n":"moisture","u":"/","v":0.4},{"n":"moisture","u":"/","v":0.5}`, "duplicate-key", "two values"},
		"a short name":         {`[{"n":"moisture","u":"/","v":0.4}`, "name", `name "moisture": <terminal>:<address>:<what> is due`},
		"terminal 0":           {`[{"bn":"0:0:","n":"moisture","u":"/","v":0.4}`, "name", "0:0:moisture"},
		"a leading zero":       {`[{"bn":"01:0:","n":"moisture","u":"/","v":0.4}`, "name", "01:0:moisture"},
		"a long address":       {`[{"bn":"1:00:","n":"moisture","u":"/","v":0.4}`, "name", "1:00:moisture"},
		"an odd address":       {`[{"bn":"1:?:","n":"moisture","u":"/","v":0.4}`, "name", "1:?:moisture"},
		"too many parts":       {`[{"bn":"1:0:","n":"a:moisture","u":"/","v":0.4}`, "name", "1:0:a:moisture"},
		"a wide terminal":      {`[{"bn":"99999999999999999999:0:","n":"moisture","u":"/","v":0.4}`, "name", "999:0:moisture"},
		"a typing error":       {`[{"bn":"1:0:","n":"moistuer","u":"/","v":0.4}`, "unknown-name", `"moistuer": moisture, permittivity`},
		"now, by RFC 8428":     {`[{"bn":"1:0:","n":"moisture","u":"/","v":0.4,"t":0}`, "time", "time 0 is relative to now"},
		"seconds ago":          {`[{"bn":"1:0:","n":"moisture","u":"/","v":0.4,"t":-5}`, "time", "time -5 is relative"},
		"just under 2^28":      {`[{"bn":"1:0:","n":"moisture","u":"/","v":0.4,"t":268435455}`, "time", "relative"},
		"milliseconds":         {`[{"bn":"1:0:","n":"moisture","u":"/","v":0.4,"t":1830000000000}`, "time", "milliseconds?"},
		"a time that is text":  {`[{"bn":"1:0:","n":"moisture","u":"/","v":0.4,"t":"x"}`, "value", "t of a record is not a number"},
		"a boolean that isn't": {`[{"bn":"1:0:","n":"moisture","u":"/","vb":1}`, "value", "vb of a record is not true or false"},
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			got, faults := decode(c.first + good)
			require.NotEmpty(t, faults)
			require.Equal(t, c.cause, faults[0].Cause)
			require.Contains(t, faults[0].Hint, c.hint)
			// A base time of a refused record would hold for the next one too.
			same(t, []zones.Reading{kept}, got)
		})
	}
}

// A wrong value beside a right moisture costs only itself.
func TestDecodeReadingsKeepsMoistureBesideAWrongValue(t *testing.T) {
	for _, c := range []struct{ second, cause, hint string }{
		{`{"n":"ec","u":"mS/cm","v":1.8}`, "unit", "1.8 with unit mS/cm: unit S/m is due, 0 to 10 (1.8 mS/cm is 0.18 S/m)"},
		{`{"n":"ec","u":"S/m","v":18}`, "value", "18 with unit S/m: 0 to 10 is due"},
		{`{"n":"temperature","u":"Cel","v":-127}`, "value", "-127 with unit Cel: -60 to 120 is due"},
		{`{"n":"temperature","u":"C","v":20}`, "unit", "degrees Celsius are written Cel"},
		{`{"n":"permittivity","u":"/","v":-1}`, "value", "-1 with unit /: 1 to 100 is due"},
		{`{"n":"serial","v":7}`, "value", "serial carries no string"},
		{`{"n":"serial","vs":"a\u0007b"}`, "value", "printable"},
		{`{"n":"serial","vs":"` + strings.Repeat("x", 65) + `"}`, "value", "65 bytes"},
	} {
		got, faults := decode(`[{"bn":"1:0:","n":"moisture","u":"/","v":0.4},` + c.second + `]`)
		require.Len(t, faults, 1, c.second)
		require.Equal(t, c.cause, faults[0].Cause, c.second)
		require.Contains(t, faults[0].Hint, c.hint)
		same(t, []zones.Reading{wet(place(1, "0"), 40000)}, got)
	}
}

func TestDecodeReadingsOfPermittivityAlone(t *testing.T) {
	got, faults := decode(`[{"bn":"1:0:","n":"permittivity","u":"/","v":20.5}]`)
	want := bare(place(1, "0"))
	want.Permittivity = 20.5
	same(t, []zones.Reading{want}, got)
	require.Empty(t, faults, "the curve of the zone's substrate tells the moisture")

	got, faults = decode(`[{"bn":"1:0:","n":"temperature","u":"Cel","v":20.5}]`)
	require.Empty(t, faults, "a pack may be split: a temperature alone is no fault")
	require.Len(t, got, 1)
	require.False(t, got[0].HasMoisture)
}

func TestDecodeReadingsRefusesAWholePack(t *testing.T) {
	deep := strings.Repeat("[", 40) + strings.Repeat("]", 40)
	rec := `{"bn":"1:0:","n":"moisture","u":"/","v":0.4}`
	for payload, cause := range map[string]string{
		``:                        "json",
		` `:                       "json",
		`null`:                    "json",
		`0.4`:                     "json",
		rec:                       "json",
		`[` + rec:                 "json",
		`[` + rec + `,]`:          "json",
		`[` + rec + `]]`:          "json",
		`[` + rec + `] x`:         "json",
		`[` + rec + rec + `]`:     "json",
		`[1]`:                     "json",
		`[null]`:                  "json",
		"\ufeff[" + rec + `]`:     "json",
		"[{\"bn\":\"1:0:\xff\"}]": "json",
		`[{"bn":"1:0:","n":"moisture","u":"/","v":NaN}]`:                        "json",
		`[{"bn":"1:0:","n":"moisture","u":"/","v":Infinity}]`:                   "json",
		`[{"bn":"1:0:","n":"moisture","u":"/","v":-Infinity}]`:                  "value",
		`[{"bn":"1:0:","n":"moisture","u":"/","v":+0.4}]`:                       "json",
		`[{"bn":"1:0:","n":"moisture","u":"/","v":.4}]`:                         "json",
		`[{"bn":"1:0:","n":"moisture","u":"/","v":0.}]`:                         "json",
		`[{"bn":"1:0:","n":"moisture","u":"/","v":00.4}]`:                       "json",
		`[{"bn":"1:0:","n":"moisture","u":"/","v":0x1p-2}]`:                     "json",
		`[{"bn":"1:0:","n":"moisture","u":"/","v":0.4e}]`:                       "json",
		`[{"bn":"1:0:","n":"moisture","u":"/","v":0.4,}]`:                       "json",
		`[{"bn":"1:0:","n":"moisture","u":"/","v":0.4 "t":1}]`:                  "json",
		`[{"bn":"1:0:","n":"mois` + "\n" + `ture","v":0.4}]`:                    "json",
		`[{"bn":"1:0:","n":"\q","v":0.4}]`:                                      "json",
		`[{"bn":"1:0:","n":"moisture`:                                           "json",
		`[{"bn":"1:0:","n":"moisture","u":"/","v":0.4,"x":` + deep + `}]`:       "json",
		`[{"bn":"1:0:","n":"moisture","v":0.4,"v":0.5}]`:                        "duplicate-key",
		`[{"bn":"1:0:","n":"moisture","v":0.4,"\u0076":0.5}]`:                   "duplicate-key",
		`[{"bn":"1:0:","x":1,"x":2}]`:                                           "duplicate-key",
		`[{"bn":"1:0:","n":"moisture","v":0.4,"calib_":1}]`:                     "unknown-label",
		`[{"bver":11,"bn":"1:0:","n":"moisture","v":0.4}]`:                      "version",
		`[{"bn":1,"n":"moisture","u":"/","v":0.4}]`:                             "value",
		`[{"bn":"1:0:","bt":"x","n":"moisture","u":"/","v":0.4}]`:               "value",
		`[{"bn":"1:0:","bt":1e999,"n":"moisture","u":"/","v":0.4}]`:             "value",
		`[{"bn":"1:0:","a":1,"b":1,"c":1,"d":1,"e":1,"f":1,"g":1,"h":1,"i":1}]`: "too-many",
		`[` + rec + strings.Repeat(" ", field.MaxPayload) + `]`:                 "too-long",
	} {
		got, faults := decode(payload)
		if strings.Contains(payload, "-Infinity") {
			cause = "json" // the sign begins a number that does not follow
		}
		require.Empty(t, got, payload)
		require.Len(t, faults, 1, payload)
		require.Equal(t, cause, faults[0].Cause, payload)
		require.NotEmpty(t, faults[0].Hint, payload)
	}
}

// RFC 8428 asks for at least one record; an empty pack says nothing and harms nothing.
func TestDecodeReadingsOfNothing(t *testing.T) {
	got, faults := decode(`[]`)
	require.Empty(t, got)
	require.Empty(t, faults)
}

func TestDecodeReadingsBoundsAPack(t *testing.T) {
	var b strings.Builder
	b.WriteString(`[{"bn":"1:0:","bu":"/"}`)
	for i := range 600 {
		b.WriteString(`,{"n":"moisture","v":0.4,"t":` + itoa(1830000000+i) + `}`)
	}
	b.WriteString(`]`)
	got, faults := decode(b.String())
	require.Len(t, got, 512)
	require.Len(t, faults, 1, "the same fault in a row is told once")
	require.Equal(t, "too-many", faults[0].Cause)
}
