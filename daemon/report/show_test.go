package report

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

// full is a day with something of everything.
func full(t *testing.T) (*book, *Report) {
	b := newBook(t, "UTC", "2027-03-02 20:00")
	b.in.Plan.Zones[0].Name = `East <script>alert(1)</script> & "co"`
	b.shot("2027-03-02 07:00", "ramp-up", zones.BelowThreshold, 144)
	b.shot("2027-03-02 11:00", "daytime", zones.DriedBack, 144)
	b.minutes("2027-03-02 00:00", "2027-03-02 20:00", func(d time.Duration) float64 { return 58 - d.Hours()/4 })
	b.line("2027-03-02 09:00", zones.Entry{Kind: "refused", Zone: "east", Reason: zones.SupplyBusy})
	b.line("2027-03-02 10:00", zones.Entry{Kind: "alarm", Reason: zones.BrokerLost, Because: "<b>no broker</b>"})
	b.in.Drains = []Drain{{Zone: "east", At: b.at("2027-03-02 12:00"), Plants: 4, DrainML: 300, AppliedML: 1500, In: 2, Out: 5, PH: 5.9}}
	b.in.Catches = []Catch{{Zone: "east", At: b.at("2027-02-02 12:00"), Unit: "mL", Volumes: []float64{47, 42, 45, 24, 13, 26, 33, 34, 27, 30, 40, 44, 32, 12, 12}}}
	return b, b.build(t, Ask{})
}

func TestText(t *testing.T) {
	_, r := full(t)
	var out bytes.Buffer
	require.NoError(t, r.Text(&out))
	for _, want := range []string{
		"bay-2, Tuesday, 2027-03-02, times in UTC, so far: until 20:00",
		"east: shots by window: ramp-up 1 shot, 1.6 L; daytime 1 shot, 1.6 L",
		"east: refused: supply-busy 1",
		"room: alarm: broker-lost from 10:00 on",
		"300 of 1500 mL drained, 20 %; EC in 2.00, out 5.00 mS/cm, pH 5.9",
		"low quarter 50 %, Christiansen 69 %",
		"by that the lowest quarter got 79 mL a plant", // 160 mL x 0.4962
	} {
		require.Contains(t, out.String(), want)
	}
}

// The sample of the check: 1500 mL given, 300 drained: 20 %; 2.0 in and 5.0 out: 40 %
// (Ayers & Westcot 1985, FAO-29). Salts by hand: 1.5 x 2.0 = 3.0 in, 0.3 x 5.0 = 1.5 out.
func TestDrainSampleByHand(t *testing.T) {
	_, r := full(t)
	d := r.Days[0].Zones[0].Drains[0]
	require.InDelta(t, 0.20, d.Share, 1e-12)
	require.InDelta(t, 0.40, d.SteadyShare, 1e-12)
	require.InDelta(t, 3.0, d.SaltIn, 1e-12)
	require.InDelta(t, 1.5, d.SaltOut, 1e-12)
	require.InDelta(t, 1.5, d.SaltKept, 1e-12)
	require.Contains(t, d.Balance(), "more than a salt that no plant takes up would leave in balance")
}

func TestHTMLEscapesAndStandsAlone(t *testing.T) {
	_, r := full(t)
	var out bytes.Buffer
	require.NoError(t, r.HTML(&out))
	text := out.String()
	require.NotContains(t, text, "<script")
	require.NotContains(t, text, "<b>no broker")
	require.Contains(t, text, "&lt;script&gt;")
	require.Contains(t, text, "<svg")
	require.NotContains(t, text, "ZgotmplZ")
	for _, outside := range []string{"http://", "https://", "src=", "@import", "url("} {
		require.NotContains(t, text, outside)
	}
	for _, need := range []string{"prefers-color-scheme: dark", "size: A4", "break-before: page", `name="viewport"`} {
		require.Contains(t, text, need)
	}
	require.Equal(t, 1, strings.Count(text, `<section class="day">`))
}

// A run without an end is drawn to now while it may be open, never to midnight; and it is
// said that its water is not known.
func TestRunsWithoutAnEnd(t *testing.T) {
	b, _ := full(t)
	b.line("2027-03-02 19:50", zones.Entry{Kind: "run-opened", Zone: "east", Run: "x", Window: "ramp-up"})
	b.line("2027-03-02 12:50", zones.Entry{Kind: "run-opened", Zone: "east", Run: "y", Window: "ramp-up"})
	r := b.build(t, Ask{})
	z := &r.Days[0].Zones[0]
	require.Equal(t, "2, open now or cut by an end of the daemon; their water is not counted", z.endless())
	p := r.writing().picture(&r.Days[0], z)
	require.Len(t, p.Shots, 4)
	require.Equal(t, b.at("2027-03-02 12:50"), p.Shots[2].End)
	require.Equal(t, b.at("2027-03-02 20:00"), p.Shots[3].End)
}

func TestGapsInTheMoistureAreTold(t *testing.T) {
	b := newBook(t, "UTC", "2027-03-02 20:00")
	b.minutes("2027-03-02 00:00", "2027-03-02 15:00", func(time.Duration) float64 { return 50 })
	require.Equal(t, "15 h 00 min of 20 h 00 min", b.east(t, "2027-03-02").known())
	b.minutes("2027-03-02 15:00", "2027-03-02 20:00", func(time.Duration) float64 { return 50 })
	require.Equal(t, none, b.east(t, "2027-03-02").known())
}

func TestUSUnits(t *testing.T) {
	b, _ := full(t)
	b.in.Plan.US = true
	var out bytes.Buffer
	require.NoError(t, b.build(t, Ask{}).Text(&out))
	require.Contains(t, out.String(), "0.8 gal") // 3.2 L / 3.785411784
}
