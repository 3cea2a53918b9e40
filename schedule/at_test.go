package schedule

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// weekdays gives a set of weekdays.
func weekdays(days ...time.Weekday) (set Weekdays) {
	for _, d := range days {
		set |= 1 << uint(d)
	}
	return set
}

// The instants of one day, in a zone without daylight saving: lights 06:00 to
// 18:00, -07:00.
func TestAtOverADay(t *testing.T) {
	cal := usual(t, "America/Phoenix")
	z := only(
		Window{Name: "ramp-up", From: on(hour), Until: on(4 * hour), Below: 48000, StopAt: 55000},
		Window{Name: "daytime", From: on(4 * hour), Until: off(-2 * hour), DryBack: 3000, Floor: 28000},
		Window{Name: "night", From: off(0), Until: on(0), Below: 30000},
		dated("rinse", "30 12 * * MON", 30*minute),
	)
	for _, c := range []struct{ at, id, since, until string }{ // Monday 2027-02-01
		{"06:00:00", "", "06:00", "07:00"},
		{"06:59:59", "", "06:00", "07:00"},
		{"07:00:00", "2027-02-01/ramp-up", "07:00", "10:00"},
		{"09:59:59", "2027-02-01/ramp-up", "08:59", "10:00"},
		{"10:00:00", "2027-02-01/daytime", "10:00", "12:30"},
		{"12:29:59", "2027-02-01/daytime", "11:29", "12:30"},
		{"12:30:00", "2027-02-01T12:30/rinse", "12:30", "13:00"},
		{"12:59:59", "2027-02-01T12:30/rinse", "12:30", "13:00"},
		{"13:00:00", "2027-02-01/daytime", "13:00", "16:00"}, // the same opening goes on
		{"15:59:59", "2027-02-01/daytime", "14:59", "16:00"},
		{"16:00:00", "", "16:00", "18:00"},
		{"18:00:00", "2027-02-01/night", "18:00", "06:00"},
		{"23:59:59", "2027-02-01/night", "22:59", "06:00"},
	} {
		s := At(cal, z, instant(t, "2027-02-01T"+c.at+"-07:00"))
		require.Equal(t, c.id, s.Instance.ID, c.at)
		require.Equal(t, c.id != "", s.Open, c.at)
		require.Equal(t, c.since, s.Since.Format("15:04"), c.at) // a cron window lets it reach back one hour
		require.Equal(t, c.until, s.Until.Format("15:04"), c.at)
		require.False(t, s.Fallow, c.at)
		require.Equal(t, "only", s.Stage)
		require.Zero(t, s.CropDay)
		require.Equal(t, Level(28000), s.LowestBelow, "the floor of daytime")
		require.Equal(t, "2027-02-01T06:00:00-07:00", s.LightsOn.Format(time.RFC3339), c.at)
	}
	s := At(cal, z, instant(t, "2027-02-02T05:59:59-07:00"))
	require.Equal(t, "2027-02-01/night", s.Instance.ID, "the date of its start")
	require.Equal(t, "2027-02-01T18:00:00-07:00", s.Instance.Start.Format(time.RFC3339))
	require.Equal(t, "2027-02-02T06:00:00-07:00", s.Instance.End.Format(time.RFC3339))
	require.Empty(t, At(cal, z, instant(t, "2027-02-02T06:00:00-07:00")).Instance.ID)
}

func TestFallow(t *testing.T) {
	cal, noon := usual(t, "UTC"), instant(t, "2027-02-01T12:00:00Z")
	windows := []Window{daily("w", "08:00-09:00")}
	for name, c := range map[string]struct {
		zone   Zone
		fallow bool
	}{
		"not named":      {Zone{Windows: windows}, true},
		"none":           {Zone{Named: true}, true},
		"not open now":   {Zone{Named: true, Windows: windows}, false},
		"empty stage":    {Zone{Named: true, Crop: &Crop{Day1: Date{2027, 1, 1}, Stages: []Stage{{FromDay: 1}}}}, true},
		"crop to come":   {Zone{Named: true, Crop: &Crop{Day1: Date{2027, 2, 2}, Stages: []Stage{{FromDay: 1, Windows: windows}}}}, true},
		"crop under way": {Zone{Named: true, Crop: &Crop{Day1: Date{2027, 2, 1}, Stages: []Stage{{FromDay: 1, Windows: windows}}}}, false},
	} {
		s := At(cal, &c.zone, noon)
		require.Equal(t, c.fallow, s.Fallow, name)
		require.False(t, s.Open, name)
		require.Equal(t, !c.fallow, s.LowestBelow > 0, name)
		_, ok := Next(cal, &c.zone, noon)
		require.Equal(t, !c.fallow || name == "crop to come", ok, name)
		require.True(t, s.Until.After(noon) && !s.Since.After(noon), name)
	}
}

// What a calendar leaves out: no zone is UTC, no lights are on at midnight.
func TestBareCalendar(t *testing.T) {
	s := At(&Calendar{}, only(daily("w", "08:00-09:00")), instant(t, "2027-02-01T09:30:00+01:00"))
	require.Equal(t, "2027-02-01/w", s.Instance.ID)
	require.Equal(t, instant(t, "2027-02-01T00:00:00Z"), s.LightsOn)
	require.Equal(t, time.UTC, s.LightsOn.Location())
}

// Two of one rank do not overlap in a plan that passed its checks; if they do, the
// one that began earlier has the time, then the one listed first. A dated one comes
// before all daily ones.
func TestOverlap(t *testing.T) {
	cal := usual(t, "UTC")
	monday := daily("monday", "11:00-13:00")
	monday.On = weekdays(time.Monday)
	z := only(
		daily("second", "09:00-14:00"),
		daily("first", "08:00-10:00"),
		daily("same", "09:00-15:00"),
		monday,
		dated("cron", "30 12 * * *", hour),
	)
	for _, c := range []struct{ at, id string }{
		{"2027-02-01T08:59:59Z", "2027-02-01/first"},
		{"2027-02-01T09:59:59Z", "2027-02-01/first"},
		{"2027-02-01T10:00:00Z", "2027-02-01/second"},
		{"2027-02-01T11:00:00Z", "2027-02-01/monday"},
		{"2027-02-01T12:59:59Z", "2027-02-01/monday"},
		{"2027-02-01T13:00:00Z", "2027-02-01T12:30/cron"},
		{"2027-02-01T13:30:00Z", "2027-02-01/second"},
		{"2027-02-01T14:00:00Z", "2027-02-01/same"},
		{"2027-02-02T11:00:00Z", "2027-02-02/second"}, // no Monday
		{"2027-02-02T12:30:00Z", "2027-02-02T12:30/cron"},
	} {
		require.Equal(t, c.id, At(cal, z, instant(t, c.at)).Instance.ID, c.at)
	}
}

// A dated window that starts and ends with a daily one has it whole.
func TestDatedOnTheSameEdges(t *testing.T) {
	cal := usual(t, "UTC")
	special := daily("special", "09:00-10:00")
	special.On = weekdays(time.Tuesday)
	z := only(daily("daily", "09:00-10:00"), special)
	require.Equal(t, "2027-02-01/daily", At(cal, z, instant(t, "2027-02-01T09:00:00Z")).Instance.ID)
	require.Equal(t, "2027-02-02/special", At(cal, z, instant(t, "2027-02-02T09:00:00Z")).Instance.ID)
	found := Upcoming(cal, z, instant(t, "2027-02-02T00:00:00Z"), instant(t, "2027-02-03T00:00:00Z"))
	require.Equal(t, []string{
		"2027-02-02/special 2027-02-02T09:00:00Z 2027-02-02T10:00:00Z",
		"2027-02-02/daily 2027-02-02T09:00:00Z 2027-02-02T10:00:00Z",
	}, lines(found))
}

// `on` speaks of the day whose lights the edges are reckoned from, and an opening
// that crosses midnight belongs to the day it began.
func TestOnWeekdays(t *testing.T) {
	cal := usual(t, "UTC")
	for name, c := range map[string]struct {
		window Window
		want   string
	}{
		"crosses midnight": {Window{Name: "w", From: clock("22:00"), Until: clock("02:00")}, "2027-02-01/w 2027-02-01T22:00:00Z 2027-02-02T02:00:00Z"},
		"after its lights": {Window{Name: "w", From: off(8 * hour), Until: off(9 * hour)}, "2027-02-02/w 2027-02-02T02:00:00Z 2027-02-02T03:00:00Z"},
		"before its dawn":  {Window{Name: "w", From: on(-7 * hour), Until: on(0)}, "2027-01-31/w 2027-01-31T23:00:00Z 2027-02-01T06:00:00Z"},
	} {
		c.window.On = weekdays(time.Monday)
		require.True(t, c.window.Dated())
		found := Upcoming(cal, only(c.window), instant(t, "2027-01-30T00:00:00Z"), instant(t, "2027-02-06T00:00:00Z"))
		require.Equal(t, []string{c.want}, lines(found), name)
	}
}

// Edges by lights, lights 18:00 to 06:00: the room is lit by night. `until` is the
// next such edge after `from`.
func TestEdgesOfANightlyRoom(t *testing.T) {
	cal := &Calendar{Location: time.UTC, Days: []Day{{On: 18 * hour, Off: 6 * hour}}}
	for name, c := range map[string]struct {
		from, until Edge
		want        string
	}{
		"lit hours":             {on(hour), off(-2 * hour), "2027-02-01/w 2027-02-01T19:00:00Z 2027-02-02T04:00:00Z"},
		"dark hours":            {off(0), on(0), "2027-02-01/w 2027-02-01T06:00:00Z 2027-02-01T18:00:00Z"},
		"from past midnight":    {on(7 * hour), off(0), "2027-02-02/w 2027-02-02T01:00:00Z 2027-02-02T06:00:00Z"},
		"both past midnight":    {on(7 * hour), on(8 * hour), "2027-02-02/w 2027-02-02T01:00:00Z 2027-02-02T02:00:00Z"},
		"from the day before":   {off(-7 * hour), off(0), "2027-01-31/w 2027-01-31T23:00:00Z 2027-02-01T06:00:00Z"},
		"until by clock":        {on(-20 * hour), clock("23:00"), "2027-01-31/w 2027-01-31T22:00:00Z 2027-01-31T23:00:00Z"},
		"clock to lights":       {clock("20:00"), off(0), "2027-02-01/w 2027-02-01T20:00:00Z 2027-02-02T06:00:00Z"},
		"a whole day":           {on(0), on(24 * hour), "2027-02-01/w 2027-02-01T18:00:00Z 2027-02-02T18:00:00Z"},
		"midnight to midnight":  {clock("00:00"), clock("24:00"), "2027-02-01/w 2027-02-01T00:00:00Z 2027-02-02T00:00:00Z"},
		"to midnight":           {clock("23:30"), clock("00:00"), "2027-02-01/w 2027-02-01T23:30:00Z 2027-02-02T00:00:00Z"},
		"to the same day's end": {clock("23:30"), clock("24:00"), "2027-02-01/w 2027-02-01T23:30:00Z 2027-02-02T00:00:00Z"},
	} {
		z := only(Window{Name: "w", From: c.from, Until: c.until})
		o, ok := newAlmanac(cal, z).opening(&z.Windows[0], Date{2027, 2, 1}.number())
		require.True(t, ok, name)
		in := Instance{o.face.Format(time.DateOnly) + "/w", z.Windows[0], o.start, o.end}
		require.Equal(t, c.want, line(in), name)
		require.Equal(t, line(in), line(At(cal, z, o.start).Instance), name)
		require.Equal(t, line(in), line(At(cal, z, o.end.Add(-1)).Instance), name)
		require.NotEqual(t, in.ID, At(cal, z, o.start.Add(-1)).Instance.ID, name)
		require.NotEqual(t, in.ID, At(cal, z, o.end).Instance.ID, name)
	}
}

func TestEmptyWindowsNeverOpen(t *testing.T) {
	cal := usual(t, "UTC")
	z := only(daily("w", "09:00-09:00"), Window{Name: "v", From: on(12 * hour), Until: off(0)},
		dated("no length", "0 9 * * *", 0), dated("not valid", "0 9 * *", hour))
	require.Empty(t, Upcoming(cal, z, instant(t, "2027-02-01T00:00:00Z"), instant(t, "2027-02-08T00:00:00Z")))
	_, ok := Next(cal, z, instant(t, "2027-02-01T00:00:00Z"))
	require.False(t, ok)
	require.False(t, At(cal, z, instant(t, "2027-02-01T09:00:00Z")).Open)
}

// From 1 March lights are on from 09:00 to 15:00, from 3 March from 02:00 to 20:00.
func TestDatedDayLengths(t *testing.T) {
	cal := &Calendar{Location: time.UTC, Days: []Day{
		{On: 6 * hour, Off: 18 * hour},
		{From: Date{2027, 3, 1}, On: 9 * hour, Off: 15 * hour},
		{From: Date{2027, 3, 3}, On: 2 * hour, Off: 20 * hour},
	}}
	z := only(
		Window{Name: "day", From: on(hour), Until: off(-hour)},
		Window{Name: "night", From: off(0), Until: on(0)},
	)
	require.Equal(t, []string{
		"2027-02-27/night 2027-02-27T18:00:00Z 2027-02-28T06:00:00Z",
		"2027-02-28/day 2027-02-28T07:00:00Z 2027-02-28T17:00:00Z",
		"2027-02-28/night 2027-02-28T18:00:00Z 2027-03-01T09:00:00Z",
		"2027-03-01/day 2027-03-01T10:00:00Z 2027-03-01T14:00:00Z",
		"2027-03-01/night 2027-03-01T15:00:00Z 2027-03-02T09:00:00Z",
		"2027-03-02/day 2027-03-02T10:00:00Z 2027-03-02T14:00:00Z",
		"2027-03-02/night 2027-03-02T15:00:00Z 2027-03-03T02:00:00Z",
		"2027-03-03/day 2027-03-03T03:00:00Z 2027-03-03T19:00:00Z",
	}, lines(Upcoming(cal, z, instant(t, "2027-02-28T00:00:00Z"), instant(t, "2027-03-03T12:00:00Z"))))
	for _, c := range []struct{ at, lights string }{
		{"2027-03-01T08:59:59Z", "2027-02-28T06:00:00Z"},
		{"2027-03-01T09:00:00Z", "2027-03-01T09:00:00Z"},
		{"2027-03-03T01:59:59Z", "2027-03-02T09:00:00Z"},
		{"2027-03-03T02:00:00Z", "2027-03-03T02:00:00Z"},
	} {
		require.Equal(t, instant(t, c.lights), At(cal, z, instant(t, c.at)).LightsOn, c.at)
	}
}

// Between two day lengths a window may be longer than a day, and may open twice on
// one date.
func TestBetweenDayLengths(t *testing.T) {
	cal := &Calendar{Location: time.UTC, Days: []Day{
		{On: 2 * hour, Off: 1 * hour},
		{From: Date{2027, 3, 1}, On: 23 * hour, Off: 11 * hour},
	}}
	z := only(Window{Name: "long", From: off(0), Until: on(0)})
	in := ofDate(t, cal, z, Date{2027, 2, 28})
	require.Equal(t, "2027-02-28/long 2027-02-28T01:00:00Z 2027-02-28T02:00:00Z", line(in))

	cal.Days = []Day{{On: 2 * hour, Off: 3 * hour}, {From: Date{2027, 3, 1}, On: 23 * hour, Off: 23*hour + 30*minute}}
	in = ofDate(t, cal, z, Date{2027, 2, 28})
	require.Equal(t, "2027-02-28/long 2027-02-28T03:00:00Z 2027-03-01T23:00:00Z", line(in)) // 44 h
	for _, at := range []string{"2027-02-28T03:00:00Z", "2027-03-01T12:00:00Z", "2027-03-01T22:59:59Z"} {
		require.Equal(t, in.ID, At(cal, z, instant(t, at)).Instance.ID, at)
	}
	require.False(t, At(cal, z, instant(t, "2027-03-01T23:00:00Z")).Open)

	cal.Days = []Day{{On: 18 * hour, Off: 6 * hour}, {From: Date{2027, 3, 1}, On: 12 * hour, Off: 0}}
	twice := only(Window{Name: "w", From: on(7 * hour), Until: on(8 * hour)})
	found := Upcoming(cal, twice, instant(t, "2027-02-28T00:00:00Z"), instant(t, "2027-03-03T00:00:00Z"))
	require.Equal(t, []string{
		"2027-02-28/w 2027-02-28T01:00:00Z 2027-02-28T02:00:00Z",
		"2027-03-01/w 2027-03-01T01:00:00Z 2027-03-01T02:00:00Z",
		"2027-03-01T19:00/w 2027-03-01T19:00:00Z 2027-03-01T20:00:00Z",
		"2027-03-02/w 2027-03-02T19:00:00Z 2027-03-02T20:00:00Z",
	}, lines(found))
	require.Equal(t, "2027-03-01T19:00/w", At(cal, twice, instant(t, "2027-03-01T19:30:00Z")).Instance.ID)
}

// Two openings that began as early as any that can still be open: two light spans
// before, and three where the day lengths change between.
func TestOpeningsFromLongAgo(t *testing.T) {
	// The night of TestDaylightSaving's first change is an hour short: lights-on to lights-on 23 h.
	cal, z := usual(t, "America/Chicago"), only(dated("day", "30 5 * * SAT", 24*hour))
	in := At(cal, z, instant(t, "2025-03-09T11:15:00Z")).Instance
	require.Equal(t, "2025-03-08T05:30/day 2025-03-08T11:30:00Z 2025-03-09T11:30:00Z", line(in))

	cal = &Calendar{Location: time.UTC, Days: []Day{
		{On: 20*hour + 15*minute, Off: 3*hour + 45*minute},
		{From: Date{2027, 3, 14}, On: 2 * hour, Off: 19*hour + 30*minute},
	}}
	z = only(Window{Name: "long", From: clock("14:30"), Until: off(9*hour + 15*minute)})
	in = At(cal, z, instant(t, "2027-03-15T02:58:00Z")).Instance
	require.Equal(t, "2027-03-13/long 2027-03-13T14:30:00Z 2027-03-15T04:45:00Z", line(in))
}

// Where the clock goes back over midnight, the day that has begun does not end again:
// America/St_Johns  Sun Nov  7 02:30:59 2010 UT = Sun Nov  7 00:00:59 2010 NDT gmtoff=-9000
// America/St_Johns  Sun Nov  7 02:31:00 2010 UT = Sat Nov  6 23:01:00 2010 NST gmtoff=-12600
func TestBackOverMidnight(t *testing.T) {
	cal := &Calendar{Location: zoneOf(t, "America/St_Johns"), Days: []Day{{On: 0, Off: 12 * hour}}}
	z := only(Window{Name: "w", From: on(0), Until: on(hour)})
	s := At(cal, z, instant(t, "2010-11-07T03:00:00Z")) // 23:30 of the 6th, for the second time
	require.Equal(t, "2010-11-07/w 2010-11-07T02:30:00Z 2010-11-07T04:30:00Z", line(s.Instance))
	require.Equal(t, instant(t, "2010-11-07T02:30:00Z"), s.LightsOn.UTC())
	require.Equal(t, instant(t, "2010-11-06T02:30:00Z"), At(cal, z, instant(t, "2010-11-07T02:29:59Z")).LightsOn.UTC())
}

func TestUpcomingBounds(t *testing.T) {
	cal, z := usual(t, "UTC"), only(daily("w", "08:00-09:00"))
	for name, c := range map[string]struct {
		from, until string
		want        int
	}{
		"starts at from":    {"08:00:00", "08:00:01", 1},
		"starts at until":   {"07:00:00", "08:00:00", 0},
		"open at from":      {"08:59:59", "10:00:00", 1},
		"ended at from":     {"09:00:00", "10:00:00", 0},
		"an instant, open":  {"08:30:00", "08:30:00", 1},
		"an instant, shut":  {"09:30:00", "09:30:00", 0},
		"backwards, open":   {"08:30:00", "06:00:00", 1},
		"backwards, closed": {"12:00:00", "06:00:00", 0},
	} {
		found := Upcoming(cal, z, instant(t, "2027-02-01T"+c.from+"Z"), instant(t, "2027-02-01T"+c.until+"Z"))
		require.Len(t, found, c.want, name)
	}
}

func TestNext(t *testing.T) {
	cal := usual(t, "UTC")
	yearly := only(dated("yearly", "0 12 1 3 *", hour), daily("off", "09:00-09:00"))
	often := only(dated("often", "*/20 * * * *", minute))
	leap := only(dated("leap", "0 12 29 2 *", hour))
	z := only(daily("late", "22:00-23:00"), daily("early", "08:00-09:00"), dated("cron", "0 8 * * MON", minute))
	for name, c := range map[string]struct {
		zone    *Zone
		t, want string
	}{
		"before":           {z, "2027-02-02T07:59:59Z", "2027-02-02/early"},
		"at its start":     {z, "2027-02-02T08:00:00Z", "2027-02-02/late"},
		"over midnight":    {z, "2027-02-02T22:00:00Z", "2027-02-03/early"},
		"of the same":      {often, "2027-02-01T07:20:00Z", "2027-02-01T07:40/often"},
		"dated first":      {z, "2027-02-01T07:00:00Z", "2027-02-01T08:00/cron"},
		"a year on":        {yearly, "2026-03-01T12:00:00Z", "2027-03-01T12:00/yearly"},
		"within 400 days":  {leap, "2027-01-26T00:00:00Z", "2028-02-29T12:00/leap"},
		"past 400 days":    {leap, "2027-01-20T00:00:00Z", ""},
		"next century":     {leap, "2099-12-01T12:00:00Z", ""}, // 2100 is no leap year
		"nothing whatever": {only(), "2027-02-01T00:00:00Z", ""},
	} {
		in, ok := Next(cal, c.zone, instant(t, c.t))
		require.Equal(t, c.want != "", ok, name)
		require.Equal(t, c.want, in.ID, name)
	}
}
