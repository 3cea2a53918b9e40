package schedule

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// dice turns fuzzed bytes into choices; past their end it always gives 0.
type dice struct{ bytes []byte }

func (d *dice) roll(sides int) int {
	if len(d.bytes) == 0 {
		return 0
	}
	b := d.bytes[0]
	d.bytes = d.bytes[1:]
	return int(b) % sides
}

func (d *dice) quarters(most int) time.Duration { return time.Duration(d.roll(most)) * 15 * minute }

func (d *dice) edge() Edge {
	e := Edge{Anchor: Anchor(d.roll(3)), Offset: d.quarters(97)}
	if e.Anchor != AtClock {
		e.Offset = d.quarters(192) - 24*hour
	}
	return e
}

func (d *dice) window() Window {
	w := Window{
		Name: string(rune('a' + d.roll(4))), From: d.edge(), Until: d.edge(),
		Below: Level(d.roll(3)) * 20000, StopAt: Level(d.roll(3)) * 30000, Floor: Level(d.roll(2)) * 10000,
		Shot: Shot{ShotKind(d.roll(3)), float64(d.roll(9))}, Rest: d.quarters(9), MaxShots: d.roll(9),
	}
	switch d.roll(4) {
	case 1:
		w.On = Weekdays(d.roll(128))
	case 2:
		crons := []string{"30 2 * * *", "*/20 * * * *", "0 0 29 2 *", "15 1,2,3 * * MON", "0 0 30 2 *", "x", "0 23 1 * SUN"}
		w.Cron, w.For = crons[d.roll(len(crons))], d.quarters(97)
	}
	return w
}

func (d *dice) windows() (list []Window) {
	for range d.roll(6) {
		list = append(list, d.window())
	}
	return list
}

// near gives a date within a few days of t.
func (d *dice) near(t time.Time) Date {
	day := t.AddDate(0, 0, d.roll(16)-8)
	return Date{day.Year(), day.Month(), day.Day()}
}

func (d *dice) calendar(t time.Time, loc *time.Location) *Calendar {
	cal := &Calendar{Location: loc, Days: []Day{{On: d.quarters(96), Off: d.quarters(96)}}}
	for n := d.roll(4); n > 0; n-- {
		from := d.near(t)
		if last := cal.Days[len(cal.Days)-1].From; last.IsZero() || from.number() > last.number() {
			cal.Days = append(cal.Days, Day{From: from, On: d.quarters(96), Off: d.quarters(96)})
		}
	}
	return cal
}

func (d *dice) zone(t time.Time) *Zone {
	z := &Zone{Named: d.roll(16) != 1, Windows: d.windows()}
	if d.roll(2) == 0 {
		return z
	}
	z.Crop = &Crop{Day1: d.near(t), Ends: d.roll(12)}
	from := 1
	for range d.roll(4) {
		z.Crop.Stages = append(z.Crop.Stages, Stage{FromDay: from, Windows: d.windows(), EaseFor: d.roll(5)})
		from += 1 + d.roll(4)
	}
	z.Scale = Scale{Shot: float64(d.roll(3)) / 2, Below: float64(d.roll(3)) / 2, MaxShots: float64(d.roll(3)) / 4}
	return z
}

// Whatever the plan, the answer holds the instant it was asked for and stands all
// the while it says, openings are not empty, and Upcoming knows them.
func FuzzAt(f *testing.F) {
	zones := oddZones()
	// Changes of clock: those of TestDaylightSaving, TestSkippedDate and a leap year's end.
	for _, unix := range []int64{1741507200, 1762066800, 1759591800, 1745532000, 1761858000, 1757217600, 1743908400, 1325239200, 2240611200, 0} {
		for zone := range zones {
			f.Add(uint8(zone), unix, []byte{24, 72, 3, 9, 90, 30, 80, 200, 100, 4, 5, 6, 1, 1, 5, 0, 2, 1, 4, 200, 33, 120, 77, 12, 2, 2, 19, 250, 1, 1, 9, 9, 9, 3, 1, 6, 4, 44, 222, 111, 55, 23, 7, 8, 1, 5, 2, 5, 3, 90, 17})
		}
	}
	f.Fuzz(func(t *testing.T, zone uint8, unix int64, bytes []byte) {
		const lifetime = 8e9 // to the year 2223
		loc := zoneOf(t, zones[int(zone)%len(zones)])
		at := time.Unix(unix%lifetime, 0)
		d := &dice{bytes}
		cal := d.calendar(at, loc)
		requireSound(t, cal, d.zone(at), at)
	})
}

func requireSound(t *testing.T, cal *Calendar, z *Zone, at time.Time) {
	s := At(cal, z, at)
	require.Equal(t, s, At(cal, z, at), "the same question, the same answer")
	require.False(t, s.Since.After(at) || !s.Until.After(at), "[%s, %s) at %s", s.Since, s.Until, at)
	require.False(t, s.LightsOn.After(s.Since))
	require.False(t, s.Open && s.Fallow)
	listed := Upcoming(cal, z, at.Add(-5*24*hour), at.Add(24*hour))
	for i := range listed {
		require.True(t, listed[i].End.After(listed[i].Start))
		require.False(t, i > 0 && listed[i].Start.Before(listed[i-1].Start))
	}
	for _, look := range []time.Time{s.Since, at, s.Until.Add(-1)} {
		other := At(cal, z, look)
		require.True(t, sameAnswer(&s, &other), "%+v at %s, %+v at %s", s, at, other, look)
		want := chosen(listed, look)
		require.Equal(t, want != nil, s.Open)
		if want != nil {
			require.Equal(t, *want, s.Instance)
		}
	}
	if next, ok := Next(cal, z, at); ok {
		require.True(t, next.Start.After(at))
	}
}

// Whatever the text, it is judged without a panic, and what is let through comes due
// on the clock face, after the face asked about.
func FuzzParseCron(f *testing.F) {
	for _, expr := range []string{"30 12 * * MON", "*/15 0-6 1,15 jan-mar mon-fri", "TZ=UTC", "CRON_TZ=X", "@every 1h", ", * * * *", "0 0 30 2 *", "*/0 * * * *", "0 0 29 2 *", "\x00 * * * *", "1-2-3 * * * *"} {
		f.Add(expr)
	}
	face := time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)
	f.Fuzz(func(t *testing.T, expr string) {
		if err := ParseCron(expr); err != nil {
			require.NotEmpty(t, err.Error())
			return
		}
		due, ok := CronNext(expr, face)
		require.True(t, ok)
		require.True(t, due.After(face))
		require.Zero(t, due.Second())
		before, _ := CronNext(expr, due.Add(-time.Second))
		require.Equal(t, due, before)
	})
}
