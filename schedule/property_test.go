package schedule

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// nightly gives windows whose edges lie where clocks change.
func nightly() []Window {
	return []Window{
		daily("gap", "02:10-02:50"),
		daily("midnight", "23:30-00:40"),
		{Name: "dawn", From: on(-5 * hour), Until: on(-3 * hour), Below: 1},
	}
}

// Over fifty years, in every zone, each daily window opens once for each date that
// the room's clock shows: no more, no less, and none is empty or hours too long.
func TestOncePerDate(t *testing.T) {
	for _, name := range oddZones() {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			cal := usual(t, name)
			for year := 2000; year < 2050; year++ {
				from := time.Date(year, 1, 1, 12, 0, 0, 0, cal.Location)
				requireEachDate(t, cal, from, from.AddDate(1, 0, 0))
			}
		})
	}
}

func requireEachDate(t *testing.T, cal *Calendar, from, until time.Time) {
	dates := shownDates(from.Add(-13*hour), until.Add(13*hour)) // one more on each side
	dates = dates[1 : len(dates)-1]
	opened := map[string]int{}
	for _, in := range Upcoming(cal, only(nightly()...), from.Add(-24*hour), until.Add(24*hour)) {
		n := opened[in.Window.Name]
		date := in.ID[:len(time.DateOnly)]
		if n == 0 && date != dates[0] || n == len(dates) {
			continue // of the dates beside
		}
		if date != dates[n] || in.ID[len(date):] != "/"+in.Window.Name {
			require.Fail(t, "not once a date", "%s where %s is due", in.ID, dates[n])
		}
		if length := in.End.Sub(in.Start); length <= 0 || length > 4*hour {
			require.Fail(t, "wrong length", line(in))
		}
		opened[in.Window.Name]++
	}
	require.Equal(t, map[string]int{"gap": len(dates), "midnight": len(dates), "dawn": len(dates)}, opened)
}

// shownDates gives the dates that the clock shows between two instants, by looking
// at it every hour.
func shownDates(from, until time.Time) (dates []string) {
	last := 0
	for at := from; at.Before(until); at = at.Add(hour) {
		if at.Day() != last {
			dates = append(dates, at.Format(time.DateOnly))
			last = at.Day()
		}
	}
	return dates
}

// mixed gives windows of every kind, in two stages.
func mixed() *Zone {
	monday := daily("monday", "12:00-15:00")
	monday.On = weekdays(time.Monday, time.Sunday)
	windows := append(nightly(), monday, dated("cron", "15 0,1,3 * * *", 20*minute), daily("night", "20:00-05:30"))
	return &Zone{Named: true, Crop: &Crop{Day1: Date{1990, 1, 1}, Stages: []Stage{
		{FromDay: 1, Routine: "one", Windows: windows},
		{FromDay: 3, Routine: "two", Windows: windows[:5], EaseFor: 3},
	}}}
}

// Around every change of clock, At says what Upcoming lists, its answer stands from
// Since until Until, and going back over the same days gives the same openings.
func TestAtAgreesWithUpcoming(t *testing.T) {
	for _, name := range oddZones() {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			cal, z := usual(t, name), mixed()
			requireAgreement(t, cal, z, instant(t, "2024-03-01T00:00:00Z"))
			for at := range transitions(cal.Location, 2011, 2025) {
				date := dayOf(read(at)).face(-2 * wholeDay)
				z.Crop.Day1 = Date{date.Year(), date.Month(), date.Day()}
				requireAgreement(t, cal, z, at)
			}
		})
	}
}

// requireAgreement walks over the days around an instant, from answer to answer.
func requireAgreement(t *testing.T, cal *Calendar, z *Zone, around time.Time) {
	from, until := around.Add(-40*hour), around.Add(40*hour)
	listed := Upcoming(cal, z, from.Add(-100*hour), until.Add(100*hour))
	var forth []Situation
	for at := from; at.Before(until); at = forth[len(forth)-1].Until {
		s := At(cal, z, at)
		requireStands(t, cal, z, &s, at, listed)
		forth = append(forth, s)
	}
	for i := len(forth) - 1; i >= 0; i-- {
		s := &forth[i]
		at := s.Until.Add(-1)
		back := At(cal, z, at)
		if !sameAnswer(s, &back) || back.Since.After(at) || back.Until != s.Until {
			require.Fail(t, "differs going back", "%s at %s", back.Instance.ID, at)
		}
	}
}

// requireStands checks one answer by the list, at its begin, where asked and at its end.
func requireStands(t *testing.T, cal *Calendar, z *Zone, s *Situation, at time.Time, listed []Instance) {
	t.Helper()
	if s.Since.After(at) || !s.Until.After(at) {
		require.Fail(t, "does not hold the instant", "[%s, %s) at %s", s.Since, s.Until, at)
	}
	if s.LightsOn.After(s.Since) {
		require.Fail(t, "reaches over lights-on", "%s since %s", s.LightsOn, s.Since)
	}
	for _, look := range []time.Time{s.Since, at, at.Add(s.Until.Sub(at) / 2), s.Until.Add(-1)} {
		want := chosen(listed, look)
		if (want != nil) != s.Open || want != nil && *want != s.Instance {
			require.Fail(t, "not as listed", "%s at %s", s.Instance.ID, look)
		}
	}
	if begin := At(cal, z, s.Since); !sameAnswer(s, &begin) {
		require.Fail(t, "differs at its begin", "%s since %s", begin.Instance.ID, s.Since)
	}
}

// sameAnswer compares all but Since, which may reach back less far from earlier on.
func sameAnswer(s, other *Situation) bool {
	a, b := *s, *other
	a.Since, b.Since = time.Time{}, time.Time{}
	return a == b
}

// chosen gives the listed instance that has the time, by the words of At.
func chosen(listed []Instance, at time.Time) (best *Instance) {
	for i := range listed {
		in := &listed[i]
		if at.Before(in.Start) || !at.Before(in.End) {
			continue
		}
		if best == nil || in.Window.Dated() && !best.Window.Dated() ||
			in.Window.Dated() == best.Window.Dated() && in.Start.Before(best.Start) {
			best = in
		}
	}
	return best
}

// A caller may stop at any opening.
func TestOpeningsStopWhenTold(t *testing.T) {
	z := mixed()
	a := newAlmanac(usual(t, "UTC"), z)
	l := a.lightAt(instant(t, "1990-01-01T12:00:00Z"))
	all := 0
	for range a.openings(&l, l.on, l.next) {
		all++
	}
	require.Greater(t, all, 5)
	for stop := 1; stop <= all; stop++ {
		n := 0
		for range a.openings(&l, l.on, l.next) {
			if n++; n == stop {
				break
			}
		}
		require.Equal(t, stop, n)
	}
}
