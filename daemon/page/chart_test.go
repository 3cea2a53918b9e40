package page

import (
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

func TestAxisTakesRoundSteps(t *testing.T) {
	for _, c := range []struct {
		lo, hi float64
		want   []float64
	}{
		{43, 57, []float64{45, 50, 55}}, {0, 100, []float64{0, 20, 40, 60, 80, 100}}, {46, 48, []float64{46, 46.5, 47, 47.5, 48}},
		{69.5, 70.5, []float64{69.6, 69.8, 70, 70.2, 70.4}}, {38, 72, []float64{40, 50, 60, 70}}, {-3, 3, []float64{-2, 0, 2}},
	} {
		require.InDeltaSlice(t, c.want, steps(interval{c.lo, c.hi}, 5), 1e-9, "%+v", c)
	}
	require.Equal(t, interval{65, 75}, interval{69, 71}.widen(10))
	require.Equal(t, interval{20, 71}, interval{20, 71}.widen(10))
}

// The instants are those of the time-zone database (zdump -v of tzdata 2025b): Europe/Berlin
// goes from +01 to +02 at 2027-03-28T01:00:00Z and back at 2027-10-31T01:00:00Z;
// Asia/Kathmandu is at +05:45.
func TestHourMarksFollowTheClockOnTheWall(t *testing.T) {
	marks := func(zone, from string) (out []string) {
		loc, err := time.LoadLocation(zone)
		require.NoError(t, err)
		start, err := time.Parse(time.RFC3339, from)
		require.NoError(t, err)
		for _, m := range hourMarks(start, start.Add(24*time.Hour), loc, 6) {
			out = append(out, m.UTC().Format("02T15:04")+"="+m.Format("15:04"))
		}
		return out
	}
	require.Equal(t, []string{"27T17:00=18:00", "27T23:00=00:00", "28T04:00=06:00", "28T10:00=12:00"}, marks("Europe/Berlin", "2027-03-27T12:00:00Z"))
	require.Equal(t, []string{"30T16:00=18:00", "30T22:00=00:00", "31T05:00=06:00", "31T11:00=12:00"}, marks("Europe/Berlin", "2027-10-30T12:00:00Z"))
	require.Equal(t, []string{"01T00:15=06:00", "01T06:15=12:00", "01T12:15=18:00", "01T18:15=00:00"}, marks("Asia/Kathmandu", "2027-06-01T00:00:00Z"))
}

func TestTheLineHasGaps(t *testing.T) {
	at := func(min int, m float64, known bool) Point {
		return Point{At: roomNow.Add(time.Duration(min) * time.Minute), Value: m, Known: known}
	}
	parts := stretches([]Point{at(0, 40, true), at(1, 41, true), at(2, 0, false), at(3, 42, true), at(18, 43, true), at(34, 44, true), at(35, math.NaN(), true)})
	var got [][]float64
	for _, p := range parts {
		var row []float64
		for _, x := range p {
			row = append(row, x.Value)
		}
		got = append(got, row)
	}
	require.Equal(t, [][]float64{{40, 41}, {42, 43}, {44}}, got, "an unknown point, and more than 15 min, break the line")
}

func TestThinKeepsGapsAndMeans(t *testing.T) {
	var ps []Point
	from := roomNow
	for i := range 1440 {
		ps = append(ps, Point{At: from.Add(time.Duration(i) * time.Minute), Value: float64(i % 4), Known: i < 600 || i >= 700})
	}
	out := thin(ps, from, from.Add(24*time.Hour), 360)
	require.LessOrEqual(t, len(out), 361)
	require.InDelta(t, 1.5, out[10].Value, 0.01)
	require.Len(t, stretches(out), 2, "the gap stays")
	require.Equal(t, ps[:3], thin(ps[:3], from, from.Add(time.Hour), 360))
}

func drawn(t *testing.T, c *chart) string {
	s := string(c.drawWide(200)) + string(c.drawNarrow(200))
	d := xml.NewDecoder(strings.NewReader("<x>" + s + "</x>"))
	for {
		_, err := d.Token()
		if err == io.EOF {
			return s
		}
		require.NoError(t, err, "the picture is not well-formed")
	}
}

func TestPicture(t *testing.T) {
	src := newFake(t)
	z := &src.view.Zones[0]
	c := &chart{title: `East <&"> bench`, from: roomNow.Add(-24 * time.Hour), to: roomNow, loc: time.UTC, points: src.points["east"], shots: src.shots["east"], levels: levels(z), write: writing{loc: time.UTC, now: roomNow}}
	s := drawn(t, c)
	require.Equal(t, 4, strings.Count(s, "<polyline"), "two stretches, drawn for two widths")
	require.Equal(t, 2*len(src.shots["east"]), strings.Count(s, `class="shot"`))
	for _, text := range []string{"below 48 %", "stop at 55 %", "highest 70 %", "max 70 %", "East &lt;&amp;&#34;&gt; bench", "Tue 2 Mar"} {
		require.Contains(t, s, text)
	}
	require.NotContains(t, s, "NaN")
}

func TestPictureOfNothing(t *testing.T) {
	c := &chart{from: roomNow.Add(-24 * time.Hour), to: roomNow, loc: time.UTC}
	require.Contains(t, drawn(t, c), "no estimate in this time")
	require.Equal(t, "No estimate in the last 24 h; 0 shots.", c.summary())
	c.to = c.from // a room whose clock is not known yet
	require.NotContains(t, drawn(t, c), "NaN")
}

func TestLabelsOfLevelsStayApart(t *testing.T) {
	c := &chart{from: roomNow.Add(-24 * time.Hour), to: roomNow, loc: time.UTC, levels: []level{{"below", "below", 50, "below"}, {"stop at", "stop", 50.1, "stop"}, {"highest", "max", 50.2, "max"}}}
	f := &frame{w: 760, h: 200, left: 48, right: 104, top: 10, bottom: 46, hours: 3}
	c.draw(f)
	var last float64 = -100
	for _, part := range strings.Split(f.b.String(), `<text class="label`)[1:] {
		y := part[strings.Index(part, `y="`)+3:]
		var at float64
		_, err := fmt.Sscan(y[:strings.Index(y, `"`)], &at)
		require.NoError(t, err)
		require.GreaterOrEqual(t, at-last, 14.0)
		last = at
	}
}

func TestWriting(t *testing.T) {
	loc := time.FixedZone("X", -6*3600)
	w := writing{loc: loc, now: roomNow}
	require.Equal(t, "14:20", w.clock(roomNow))
	require.Equal(t, "Mon 14:20", w.clock(roomNow.Add(-24*time.Hour)))
	require.Equal(t, "2027-02-20 14:20", w.clock(roomNow.Add(-240*time.Hour)))
	require.Equal(t, notKnown, w.clock(time.Time{}))
	for d, want := range map[time.Duration]string{
		-time.Second: "0 s", 0: "0 s", 59 * time.Second: "59 s", 90 * time.Second: "1 min 30 s", time.Hour: "1 h", 90 * time.Minute: "1 h 30 min",
		50 * time.Hour: "2 days 2 h", 48 * time.Hour: "2 days", 59*time.Second + 600*time.Millisecond: "1 min",
	} {
		require.Equal(t, want, span(d), d.String())
	}
	require.Equal(t, "not known", figure(ptr(math.Inf(1)), 1, "%"))
	require.Equal(t, "3.8 L", writing{}.litres(litresInGal))
	require.Equal(t, "1.0 gal", writing{us: true}.litres(litresInGal))
	require.Equal(t, "32.0 °F", writing{us: true}.temperature(ptr(0.0)))
	require.Equal(t, "212.0 °F", writing{us: true}.temperature(ptr(100.0)))
}

func TestEveryAlarmSaysWhatToDo(t *testing.T) {
	d := newDesk(newFake(t))
	for _, code := range zones.Reasons() {
		e, _ := code.Explain()
		if !e.Alarm {
			continue
		}
		row := d.alarm(&zones.AlarmView{Code: code, Subject: "east"})
		require.Greater(t, len(row.Do), 12, code)
		require.NotEqual(t, string(code), row.Title)
	}
	require.Contains(t, d.alarm(&zones.AlarmView{Code: "of-a-later-version", Subject: "east"}).Do, "rillgate why east")
}
