package report

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/schedule"
	"rillgate/zones"
)

// bench is a room of one zone: 20 plants in 4 L each, one emitter of 2 L/h each; lights
// from 06:00 to 18:00.
func bench(t *testing.T, place string) *zones.Plan {
	t.Helper()
	loc, err := time.LoadLocation(place)
	require.NoError(t, err)
	on := func(d time.Duration) schedule.Edge { return schedule.Edge{Anchor: schedule.LightsOn, Offset: d} }
	off := schedule.Edge{Anchor: schedule.LightsOff, Offset: -2 * time.Hour}
	windows := []schedule.Window{
		{Name: "ramp-up", From: on(time.Hour), Until: on(4 * time.Hour), Below: 50000, StopAt: 55000, Shot: schedule.Shot{Kind: schedule.ByPercent, Value: 2}},
		{Name: "daytime", From: on(4 * time.Hour), Until: off, DryBack: 2000, Floor: 40000, Shot: schedule.Shot{Kind: schedule.ByPercent, Value: 2}},
	}
	return &zones.Plan{Hash: "abc", Room: "bay-2", Name: "Bay 2",
		Calendar: schedule.Calendar{Location: loc, Days: []schedule.Day{{On: 6 * time.Hour, Off: 18 * time.Hour}}},
		Zones: []zones.Zone{{ID: "east", Name: "East", Plants: 20, VolumeML: 4000, EmittersEach: 1, EmitterLPH: 2,
			Limits: zones.Limits{MaxMoisture: 62000}, Schedule: schedule.Zone{Routine: "fruiting", Windows: windows, Named: true}}},
	}
}

// book writes a journal and a history.
type book struct {
	in   *Input
	runs int
}

func newBook(t *testing.T, place, now string) *book {
	p := bench(t, place)
	b := &book{in: &Input{Plan: p, Moisture: map[string][]Sample{}, PoreEC: map[string][]Sample{}}}
	b.in.Now = b.at(now)
	return b
}

// at reads a time of the room, "2027-03-02 07:00".
func (b *book) at(s string) time.Time {
	t, err := time.ParseInLocation("2006-01-02 15:04", s, b.in.Plan.Calendar.Location)
	if err != nil {
		panic(err)
	}
	return t
}

func (b *book) line(at string, e zones.Entry) {
	b.in.Lines = append(b.in.Lines, Line{At: b.at(at), Entry: e})
}

// shot writes a run of so many seconds; the zone gets 40 L/h.
func (b *book) shot(at, window string, why zones.Reason, seconds float64) {
	b.runs++
	id := fmt.Sprintf("r-%d", b.runs)
	b.line(at, zones.Entry{Kind: "run-opened", Zone: "east", Run: id, Window: window, Reason: why})
	closed := Line{At: b.at(at).Add(time.Duration(seconds) * time.Second),
		Entry: zones.Entry{Kind: "run-closed", Zone: "east", Run: id, Reason: zones.ShotDone, Seconds: seconds, Litres: seconds * 40 / 3600}}
	b.in.Lines = append(b.in.Lines, closed)
}

// minutes writes moisture by the minute over [from, to).
func (b *book) minutes(from, to string, level func(since time.Duration) float64) {
	start := b.at(from)
	for at := start; at.Before(b.at(to)); at = at.Add(time.Minute) {
		b.in.Moisture["east"] = append(b.in.Moisture["east"], Sample{at, level(at.Sub(start))})
	}
}

func (b *book) build(t *testing.T, a Ask) *Report {
	t.Helper()
	edges, err := a.Edges(b.in.Now, b.in.Plan.Calendar.Location)
	require.NoError(t, err)
	b.in.Zone = a.Zone
	return Build(b.in, edges)
}

// east builds the one day of the one zone.
func (b *book) east(t *testing.T, day string) *ZoneDay {
	t.Helper()
	r := b.build(t, Ask{Day: day})
	require.Len(t, r.Days, 1)
	require.Len(t, r.Days[0].Zones, 1)
	return &r.Days[0].Zones[0]
}
