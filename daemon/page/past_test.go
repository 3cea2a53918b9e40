package page

import (
	"bytes"
	"encoding/xml"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

// addPast gives a probe three days: drying and shots, a night's cold, a gap of 4 h.
func (s *fakeSource) addPast(probe string) {
	from := roomNow.Add(-72 * time.Hour)
	m := 44.0
	for i := range 72 * 60 {
		at := from.Add(time.Duration(i) * time.Minute)
		day := math.Sin(float64(i) / 1440 * 2 * math.Pi)
		m -= 0.004 + 0.008*math.Max(0, day)
		if i%240 < 12 {
			m += 0.17
		}
		known := i < 1500 || i > 1740
		s.points[probe+" "+string(Moisture)] = append(s.points[probe+" "+string(Moisture)], Point{At: at, Value: m + 0.1*math.Sin(float64(i)), Known: known})
		s.points[probe+" "+string(BulkEC)] = append(s.points[probe+" "+string(BulkEC)], Point{At: at, Value: 1.7 + 0.02*(m-44) + 0.1*day, Known: known})
		s.points[probe+" "+string(Temperature)] = append(s.points[probe+" "+string(Temperature)], Point{At: at, Value: 21.5 + 2.2*day, Known: known})
	}
}

func TestOneProbe(t *testing.T) {
	src := newFake(t)
	src.addPast("e1")
	src.view.Probes[0].Serial = "SN-4711"
	c := Config{Source: src}
	rec := get(t, c, "/probes/e1")
	require.Equal(t, 200, rec.Code)
	body := rec.Body.String()
	for _, text := range []string{"Probe e1", "zone east", "Moisture: ", "Bulk EC: ", "Temperature: 19.3 to 23.7 °C.", "SN-4711", `content="60"`,
		"<strong>3 days</strong>", `href="/probes/e1?days=7"`, "below 48 %", "<code>rillgate why e1</code>", "12 shots of its zone"} {
		require.True(t, strings.Contains(body, text), "%q is not on the page", text)
	}
	require.Contains(t, get(t, c, "/probes/e1?days=1").Body.String(), "<strong>1 day</strong>")
	require.Contains(t, get(t, c, "/probes/e1?days=99999999").Body.String(), "<strong>3 days</strong>")
	still := get(t, c, "/probes/e1?days=7&still").Body.String()
	require.NotContains(t, still, "http-equiv")
	require.Contains(t, still, `<a href="/probes/e1?days=7">Let it renew itself`)
	for _, path := range []string{"/probes/", "/probes/nobody", "/probes/e1/x", "/probes/north%2F2%2FA"} {
		require.Equal(t, 404, get(t, c, path).Code, path)
	}
	require.Contains(t, get(t, c, "/").Body.String(), `<a href="/probes/e1">e1</a>`)
	require.NotContains(t, get(t, c, "/").Body.String(), `<a href="/probes/">`, "a probe without a name has no page")
	require.Contains(t, get(t, c, "/probes/w2").Body.String(), "Nothing is kept of this time")
}

func TestAProbesPastInTheUS(t *testing.T) {
	src := newFake(t)
	src.addPast("e1")
	src.plan.US = true
	// 19.3 °C = 66.7 °F, 23.7 °C = 74.7 °F
	require.Contains(t, get(t, Config{Source: src}, "/probes/e1").Body.String(), "Temperature: 66.7 to 74.7 °F.")
}

func samplePast(t *testing.T) *Past {
	src := newFake(t)
	src.addPast("e1")
	d := newDesk(src)
	p := d.probePast(&src.view.Probes[0], 3)
	p.Title, p.Caption = `Probe <e&1>`, "Bay 2"
	return p
}

// A drawing and a document can be shown alone: well-formed, nothing loaded from elsewhere.
func TestThePastAsAFile(t *testing.T) {
	p := samplePast(t)
	var svg, doc bytes.Buffer
	require.NoError(t, p.SVG(&svg))
	require.NoError(t, p.HTML(&doc))
	dec := xml.NewDecoder(bytes.NewReader(svg.Bytes()))
	for {
		if _, err := dec.Token(); err == io.EOF {
			break
		} else {
			require.NoError(t, err, "the picture is not well-formed")
		}
	}
	require.Equal(t, 3, strings.Count(svg.String(), `class="chart wide"`))
	require.Equal(t, 3, strings.Count(doc.String(), `class="chart narrow"`))
	require.Contains(t, svg.String(), "prefers-color-scheme: dark")
	require.Contains(t, svg.String(), "Probe &lt;e&amp;1&gt;")
	for _, s := range []string{svg.String(), doc.String()} {
		require.NotContains(t, s, "NaN")
		require.NotContains(t, s, "<script")
		require.NotContains(t, strings.ReplaceAll(s, "http://www.w3.org/2000/svg", ""), "http")
		require.Contains(t, s, "Sat 27 Feb 2027 14:20 CST to Tue 2 Mar 2027 14:20 CST")
	}
}

// The picture's own sheet has the colours of the page, which are held to WCAG there.
func TestThePictureHasThePagesColours(t *testing.T) {
	light, dark := palettes(t)
	for i, scheme := range strings.SplitN(pastStyle, "@media", 2) {
		of := []map[string]string{light, dark}[i]
		for _, c := range colourRule.FindAllStringSubmatch(scheme, -1) {
			want := of[c[1]]
			if c[1] == "paper" {
				want = of["sheet"]
			}
			require.Equal(t, want, c[2], c[1])
		}
	}
}

func TestAPastOfNothing(t *testing.T) {
	p := &Past{Title: "Probe x", From: roomNow, To: roomNow, Location: time.UTC, Panels: []Panel{{Of: Moisture}, {Of: Temperature}}}
	var b bytes.Buffer
	require.NoError(t, p.SVG(&b))
	require.Contains(t, b.String(), "Nothing is kept of this time.")
	require.NotContains(t, b.String(), "NaN")
	require.Empty(t, zoneLevels(&zones.ZoneView{}))
}
