package schedule

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// oddZones are zones whose clocks do what a careless rule would trip over.
func oddZones() []string {
	return []string{
		"America/Chicago", "America/New_York", "America/Phoenix", "America/St_Johns", // was 00:01 till 2011
		"America/Santiago", "America/Asuncion", "America/Sao_Paulo", "America/Havana", // gaps at midnight
		"Europe/Berlin", "Europe/London", "Europe/Dublin", // Dublin: winter is its "daylight saving"
		"Africa/Cairo", "Africa/Casablanca", "Asia/Tehran", "Asia/Amman", "Asia/Kathmandu",
		"Australia/Lord_Howe", "Antarctica/Troll", // half an hour; two hours
		"Pacific/Apia", "Pacific/Kiritimati", "Pacific/Kwajalein", // days left out
		"America/Juneau", "Asia/Manila", // a day had twice, in 1867 and 1844
		"UTC",
	}
}

// Whatever the zone, place gives an instant that shows the face or a later one, and
// no instant before does: shown by looking at the clock every few minutes
// of the hours before and every half hour of two days. The zones' own data say what is shown (time.Time.In).
func TestPlaceIsTheFirstInstant(t *testing.T) {
	for _, name := range oddZones() {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			loc := zoneOf(t, name)
			changes := 0
			for at := range transitions(loc, 1990, 2055) {
				changes++
				near := read(at.Add(-1)).Truncate(minute)
				for _, shift := range []time.Duration{-25 * hour, -3 * hour, -61 * minute, -hour, -31 * minute, -minute, 0, minute, 29 * minute, 30 * minute, 59 * minute, hour, 2 * hour, 3 * hour, 25 * hour} {
					requireFirst(t, loc, near.Add(shift))
				}
			}
			still := []string{"UTC", "America/Phoenix", "Asia/Kathmandu"}
			require.Equal(t, slices.Contains(still, name), changes == 0)
		})
	}
}

// transitions gives the instants at which the zone's offset changes.
func transitions(loc *time.Location, from, until int) func(func(time.Time) bool) {
	return func(yield func(time.Time) bool) {
		at := time.Date(from, 1, 1, 0, 0, 0, 0, loc)
		for at.Year() < until {
			end, ends := offsetEnds(at)
			if !ends {
				return
			}
			if offset(end) != offset(at) && !yield(end) {
				return
			}
			at = end
		}
	}
}

func requireFirst(t *testing.T, loc *time.Location, face time.Time) {
	got, skipped := place(loc, face)
	shown := wall(got)
	require.False(t, shown.Before(face), "%s shows %s before the face %s", got, shown, face)
	require.Equal(t, !shown.Equal(face), skipped, "face %s at %s", face, got)
	step := 7 * minute
	for back := time.Duration(1); back < 50*hour; back += step {
		if back > 4*hour {
			step = 31 * minute
		}
		if before := got.Add(-back); !wall(before).Before(face) {
			require.Fail(t, "not the first", "%s shows %s already, before %s", before, face, got)
		}
	}
}

// wall reads the clock through the calendar, not through offsets.
func wall(at time.Time) time.Time {
	return time.Date(at.Year(), at.Month(), at.Day(), at.Hour(), at.Minute(), at.Second(), at.Nanosecond(), time.UTC)
}

// Two historical changes by a whole day, which the loop above does not reach.
// America/Juneau  Sat Oct 19 08:31:12 1867: offset +15:02:19 before, -8:57:41 after (tz northamerica)
// Asia/Manila     1844 Dec 31 was left out: offset -15:56 before, +8:04 after (tz asia)
func TestPlaceOverTheDateLine(t *testing.T) {
	for _, c := range []struct {
		zone string
		year int
	}{{"America/Juneau", 1867}, {"Asia/Manila", 1844}} {
		loc := zoneOf(t, c.zone)
		for h := range 24 * 365 {
			face := time.Date(c.year, 2, 1, h, 30, 0, 0, time.UTC)
			if h%31 == 0 || face.Month() >= 10 {
				requireFirst(t, loc, face)
			}
		}
	}
}

func TestSpanHoldsWhatIsPlaced(t *testing.T) {
	for _, name := range oddZones() {
		loc := zoneOf(t, name)
		for at := range transitions(loc, 1990, 2055) {
			for _, around := range []time.Duration{0, minute, hour, 30 * hour} {
				from, until := at.Add(-around), at.Add(around)
				lo, hi := span(loc, from, until)
				for face := read(at).Add(-50 * hour); face.Before(read(at).Add(50 * hour)); face = face.Add(37 * minute) {
					placed, _ := place(loc, face)
					inside := !placed.Before(from) && !placed.After(until)
					if inside && (face.Before(lo) || face.After(hi)) {
						require.Fail(t, "outside the span", "%s is placed at %s", face, placed)
					}
				}
			}
		}
	}
}

// On 31 December of a leap year the standard library ends the offset before the
// instant asked about, once the zone's table of changes is used up: seen with Go 1.26.
func TestOffsetEnds(t *testing.T) {
	for _, name := range oddZones() {
		loc := zoneOf(t, name)
		at := time.Date(2020, 1, 1, 0, 0, 0, 0, loc)
		for at.Year() < 2120 {
			end, ends := offsetEnds(at)
			if !ends {
				break
			}
			require.True(t, end.After(at), "%s: %s ends at %s", name, at, end)
			for mid := at; mid.Before(end); mid = mid.Add(5 * hour) {
				if offset(mid) != offset(at) {
					require.Fail(t, "changes sooner", "%s: %s, before %s", name, mid, end)
				}
			}
			require.Equal(t, offset(at), offset(end.Add(-1)))
			at = end
		}
	}
	for _, year := range []int{2028, 2040, 2044, 2096} {
		eve := time.Date(year, 12, 31, 20, 0, 0, 0, zoneOf(t, "America/Chicago"))
		s := At(usual(t, "America/Chicago"), only(daily("night", "19:00-23:00")), eve)
		require.Equal(t, eve.Format(time.DateOnly)+"/night", s.Instance.ID)
		require.True(t, s.Until.Equal(eve.Add(3*hour)))
	}
}

func TestDays(t *testing.T) {
	for _, c := range []struct {
		date    Date
		number  day
		weekday time.Weekday
	}{
		{Date{1970, 1, 1}, 0, time.Thursday},
		{Date{1969, 12, 31}, -1, time.Wednesday},
		{Date{1969, 12, 25}, -7, time.Thursday},
		{Date{2000, 2, 29}, 11016, time.Tuesday},
		{Date{2027, 3, 14}, 20891, time.Sunday},
	} {
		require.Equal(t, c.number, c.date.number(), "%v", c.date)
		require.Equal(t, c.weekday, c.number.weekday(), "%v", c.date)
		begin := c.number.face(0)
		require.Equal(t, c.weekday, begin.Weekday())
		require.Equal(t, c.number, dayOf(begin))
		require.Equal(t, c.number-1, dayOf(begin.Add(-1)))
		require.Equal(t, c.number, dayOf(begin.Add(wholeDay-1)))
	}
	require.True(t, Date{}.IsZero())
	require.False(t, Date{2027, 1, 1}.IsZero())
}

// Dates that a clock on the spot never showed (tz database, file australasia).
func TestSkips(t *testing.T) {
	for _, c := range []struct {
		zone string
		date Date
	}{
		{"Pacific/Apia", Date{2011, 12, 30}},
		{"Pacific/Kiritimati", Date{1994, 12, 31}},
		{"Pacific/Kwajalein", Date{1993, 8, 21}},
	} {
		loc, d := zoneOf(t, c.zone), c.date.number()
		require.True(t, skips(loc, d), c.zone)
		require.False(t, skips(loc, d-1), c.zone)
		require.False(t, skips(loc, d+1), c.zone)
		require.False(t, skips(time.UTC, d), c.zone)
	}
}
