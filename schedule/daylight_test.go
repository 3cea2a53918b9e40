package schedule

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Expected instants are worked out by hand from the lines of `zdump -v -c 2025,2027 ZONE`
// (tzdata 2025b) that stand beside them: UT = wall clock, offset from then on.
func TestDaylightSaving(t *testing.T) {
	night := []string{"before 01:00-02:00", "across 01:30-03:30", "gap 02:30-02:50", "out 02:30-03:10", "at 02:00-02:15", "late 22:00-02:30"}
	for _, c := range []struct {
		zone    string
		date    Date
		windows []string
		want    []string
	}{
		// America/Chicago  Sun Mar  9 07:59:59 2025 UT = Sun Mar  9 01:59:59 2025 CST gmtoff=-21600
		// America/Chicago  Sun Mar  9 08:00:00 2025 UT = Sun Mar  9 03:00:00 2025 CDT gmtoff=-18000
		{"America/Chicago", Date{2025, 3, 9}, night, []string{
			"2025-03-09/before 2025-03-09T07:00:00Z 2025-03-09T08:00:00Z", // its end is the gap's begin
			"2025-03-09/across 2025-03-09T07:30:00Z 2025-03-09T08:30:00Z", // an hour shorter
			"2025-03-09/gap 2025-03-09T08:00:00Z 2025-03-09T08:20:00Z",    // moved, 20 min long
			"2025-03-09/out 2025-03-09T08:00:00Z 2025-03-09T08:40:00Z",    // moved, 40 min long, end not mapped
			"2025-03-09/at 2025-03-09T08:00:00Z 2025-03-09T08:15:00Z",
			"2025-03-09/late 2025-03-10T03:00:00Z 2025-03-10T07:30:00Z",
		}},
		{"America/Chicago", Date{2025, 3, 8}, []string{"late 22:00-02:30"}, []string{
			"2025-03-08/late 2025-03-09T04:00:00Z 2025-03-09T08:00:00Z", // only its end is in the gap
		}},
		// America/Chicago  Sun Nov  2 06:59:59 2025 UT = Sun Nov  2 01:59:59 2025 CDT gmtoff=-18000
		// America/Chicago  Sun Nov  2 07:00:00 2025 UT = Sun Nov  2 01:00:00 2025 CST gmtoff=-21600
		{"America/Chicago", Date{2025, 11, 2}, []string{"twice 01:15-01:45", "into 00:30-01:30", "over 00:30-02:00", "out 01:30-02:30", "after 02:00-03:00"}, []string{
			"2025-11-02/twice 2025-11-02T06:15:00Z 2025-11-02T06:45:00Z", // the first showing alone
			"2025-11-02/into 2025-11-02T05:30:00Z 2025-11-02T06:30:00Z",
			"2025-11-02/over 2025-11-02T05:30:00Z 2025-11-02T08:00:00Z", // 2 h 30 min
			"2025-11-02/out 2025-11-02T06:30:00Z 2025-11-02T08:30:00Z",
			"2025-11-02/after 2025-11-02T08:00:00Z 2025-11-02T09:00:00Z",
		}},
		// Europe/Berlin  Sun Mar 30 00:59:59 2025 UT = Sun Mar 30 01:59:59 2025 CET gmtoff=3600
		// Europe/Berlin  Sun Mar 30 01:00:00 2025 UT = Sun Mar 30 03:00:00 2025 CEST gmtoff=7200
		{"Europe/Berlin", Date{2025, 3, 30}, []string{"gap 02:30-02:50", "out 02:30-03:10", "across 01:30-03:30", "next 03:00-04:00"}, []string{
			"2025-03-30/gap 2025-03-30T01:00:00Z 2025-03-30T01:20:00Z",
			"2025-03-30/out 2025-03-30T01:00:00Z 2025-03-30T01:40:00Z",
			"2025-03-30/across 2025-03-30T00:30:00Z 2025-03-30T01:30:00Z",
			"2025-03-30/next 2025-03-30T01:00:00Z 2025-03-30T02:00:00Z",
		}},
		// Europe/Berlin  Sun Oct 26 00:59:59 2025 UT = Sun Oct 26 02:59:59 2025 CEST gmtoff=7200
		// Europe/Berlin  Sun Oct 26 01:00:00 2025 UT = Sun Oct 26 02:00:00 2025 CET gmtoff=3600
		{"Europe/Berlin", Date{2025, 10, 26}, []string{"twice 02:15-02:45", "out 02:30-03:30", "over 01:00-03:00"}, []string{
			"2025-10-26/twice 2025-10-26T00:15:00Z 2025-10-26T00:45:00Z",
			"2025-10-26/out 2025-10-26T00:30:00Z 2025-10-26T02:30:00Z",
			"2025-10-26/over 2025-10-25T23:00:00Z 2025-10-26T02:00:00Z",
		}},
		// Europe/Dublin  Sun Mar 30 00:59:59 2025 UT = Sun Mar 30 00:59:59 2025 GMT isdst=1 gmtoff=0
		// Europe/Dublin  Sun Mar 30 01:00:00 2025 UT = Sun Mar 30 02:00:00 2025 IST isdst=0 gmtoff=3600
		{"Europe/Dublin", Date{2025, 3, 30}, []string{"gap 01:30-01:45", "across 00:30-02:30"}, []string{
			"2025-03-30/gap 2025-03-30T01:00:00Z 2025-03-30T01:15:00Z",
			"2025-03-30/across 2025-03-30T00:30:00Z 2025-03-30T01:30:00Z",
		}},
		// Europe/Dublin  Sun Oct 26 00:59:59 2025 UT = Sun Oct 26 01:59:59 2025 IST isdst=0 gmtoff=3600
		// Europe/Dublin  Sun Oct 26 01:00:00 2025 UT = Sun Oct 26 01:00:00 2025 GMT isdst=1 gmtoff=0
		{"Europe/Dublin", Date{2025, 10, 26}, []string{"twice 01:15-01:45"}, []string{
			"2025-10-26/twice 2025-10-26T00:15:00Z 2025-10-26T00:45:00Z",
		}},
		// Australia/Lord_Howe  Sat Oct  4 15:29:59 2025 UT = Sun Oct  5 01:59:59 2025 +1030 gmtoff=37800
		// Australia/Lord_Howe  Sat Oct  4 15:30:00 2025 UT = Sun Oct  5 02:30:00 2025 +11 gmtoff=39600
		{"Australia/Lord_Howe", Date{2025, 10, 5}, []string{"gap 02:15-02:45", "clear 02:30-02:45", "across 01:45-02:45", "into 01:00-02:10"}, []string{
			"2025-10-05/gap 2025-10-04T15:30:00Z 2025-10-04T16:00:00Z",
			"2025-10-05/clear 2025-10-04T15:30:00Z 2025-10-04T15:45:00Z",
			"2025-10-05/across 2025-10-04T15:15:00Z 2025-10-04T15:45:00Z",
			"2025-10-05/into 2025-10-04T14:30:00Z 2025-10-04T15:30:00Z",
		}},
		// Australia/Lord_Howe  Sat Apr  5 14:59:59 2025 UT = Sun Apr  6 01:59:59 2025 +11 gmtoff=39600
		// Australia/Lord_Howe  Sat Apr  5 15:00:00 2025 UT = Sun Apr  6 01:30:00 2025 +1030 gmtoff=37800
		{"Australia/Lord_Howe", Date{2025, 4, 6}, []string{"twice 01:40-01:50", "out 01:45-02:15"}, []string{
			"2025-04-06/twice 2025-04-05T14:40:00Z 2025-04-05T14:50:00Z",
			"2025-04-06/out 2025-04-05T14:45:00Z 2025-04-05T15:45:00Z",
		}},
		// Africa/Cairo  Thu Apr 24 21:59:59 2025 UT = Thu Apr 24 23:59:59 2025 EET gmtoff=7200
		// Africa/Cairo  Thu Apr 24 22:00:00 2025 UT = Fri Apr 25 01:00:00 2025 EEST gmtoff=10800
		{"Africa/Cairo", Date{2025, 4, 25}, []string{"gap 00:15-00:45", "midnight 00:00-02:00"}, []string{
			"2025-04-25/gap 2025-04-24T22:00:00Z 2025-04-24T22:30:00Z",
			"2025-04-25/midnight 2025-04-24T22:00:00Z 2025-04-25T00:00:00Z",
		}},
		{"Africa/Cairo", Date{2025, 4, 24}, []string{"into 23:30-00:30", "across 23:30-01:30", "whole 00:00-24:00"}, []string{
			"2025-04-24/into 2025-04-24T21:30:00Z 2025-04-24T22:00:00Z",
			"2025-04-24/across 2025-04-24T21:30:00Z 2025-04-24T22:30:00Z",
			"2025-04-24/whole 2025-04-23T22:00:00Z 2025-04-24T22:00:00Z",
		}},
		// Africa/Cairo  Thu Oct 30 20:59:59 2025 UT = Thu Oct 30 23:59:59 2025 EEST gmtoff=10800
		// Africa/Cairo  Thu Oct 30 21:00:00 2025 UT = Thu Oct 30 23:00:00 2025 EET gmtoff=7200
		{"Africa/Cairo", Date{2025, 10, 30}, []string{"twice 23:10-23:50", "out 23:30-00:30", "whole 00:00-24:00"}, []string{
			"2025-10-30/twice 2025-10-30T20:10:00Z 2025-10-30T20:50:00Z",
			"2025-10-30/out 2025-10-30T20:30:00Z 2025-10-30T22:30:00Z",
			"2025-10-30/whole 2025-10-29T21:00:00Z 2025-10-30T22:00:00Z",
		}},
		// America/Santiago  Sun Sep  7 03:59:59 2025 UT = Sat Sep  6 23:59:59 2025 -04 gmtoff=-14400
		// America/Santiago  Sun Sep  7 04:00:00 2025 UT = Sun Sep  7 01:00:00 2025 -03 gmtoff=-10800
		{"America/Santiago", Date{2025, 9, 7}, []string{"gap 00:30-01:30"}, []string{
			"2025-09-07/gap 2025-09-07T04:00:00Z 2025-09-07T05:00:00Z",
		}},
		{"America/Santiago", Date{2025, 9, 6}, []string{"into 22:00-00:30"}, []string{
			"2025-09-06/into 2025-09-07T02:00:00Z 2025-09-07T04:00:00Z",
		}},
		// America/Santiago  Sun Apr  6 02:59:59 2025 UT = Sat Apr  5 23:59:59 2025 -03 gmtoff=-10800
		// America/Santiago  Sun Apr  6 03:00:00 2025 UT = Sat Apr  5 23:00:00 2025 -04 gmtoff=-14400
		{"America/Santiago", Date{2025, 4, 5}, []string{"twice 23:10-23:50", "over 22:30-00:30"}, []string{
			"2025-04-05/twice 2025-04-06T02:10:00Z 2025-04-06T02:50:00Z",
			"2025-04-05/over 2025-04-06T01:30:00Z 2025-04-06T04:30:00Z",
		}},
		// America/Phoenix: no change since 1968, gmtoff=-25200
		{"America/Phoenix", Date{2025, 3, 9}, []string{"night 22:00-02:30", "gap 02:30-02:50"}, []string{
			"2025-03-09/night 2025-03-10T05:00:00Z 2025-03-10T09:30:00Z",
			"2025-03-09/gap 2025-03-09T09:30:00Z 2025-03-09T09:50:00Z",
		}},
		{"UTC", Date{2025, 3, 9}, []string{"night 22:00-02:30"}, []string{
			"2025-03-09/night 2025-03-09T22:00:00Z 2025-03-10T02:30:00Z",
		}},
	} {
		for i, text := range c.windows {
			t.Run(c.zone+" "+c.want[i], func(t *testing.T) {
				requireOpening(t, c.zone, c.date, text, c.want[i])
			})
		}
	}
}

// requireOpening asks Upcoming for what the window has on the date, and At on both
// sides of each edge.
func requireOpening(t *testing.T, zone string, date Date, window, want string) {
	cal := usual(t, zone)
	z := only(daily(cutWindow(window)))
	in := ofDate(t, cal, z, date)
	require.Equal(t, want, line(in))
	for _, c := range []struct {
		at   time.Time
		open bool
	}{{in.Start.Add(-1), false}, {in.Start, true}, {in.End.Add(-1), true}, {in.End, false}} {
		s := At(cal, z, c.at)
		require.Equal(t, c.open, s.Open && s.Instance.ID == in.ID, "at %s", c.at)
		require.False(t, s.Fallow)
	}
}

func cutWindow(text string) (name, span string) {
	at := len(text) - len("00:00-00:00")
	return text[:at-1], text[at:]
}

// ofDate gives the one instance that has the date in its id.
func ofDate(t *testing.T, cal *Calendar, z *Zone, date Date) Instance {
	t.Helper()
	from := time.Date(date.Year, date.Month, date.Day, 12, 0, 0, 0, time.UTC).Add(-48 * hour)
	var found []Instance
	for _, in := range Upcoming(cal, z, from, from.Add(96*hour)) {
		if in.ID == date.number().face(0).Format(time.DateOnly)+"/"+in.Window.Name {
			found = append(found, in)
		}
	}
	require.Len(t, found, 1)
	return found[0]
}

// The same nights for windows that begin by cron: for is elapsed time, whatever the
// clock does meanwhile.
func TestCronDaylightSaving(t *testing.T) {
	for _, c := range []struct {
		zone, cron  string
		length      time.Duration
		from, until string
		want        []string
	}{
		// The changes are those of TestDaylightSaving.
		{"America/Chicago", "30 2 * * *", 20 * minute, "2025-03-08T12:00:00Z", "2025-03-10T12:00:00Z", []string{
			"2025-03-09T02:30/w 2025-03-09T08:00:00Z 2025-03-09T08:20:00Z",
			"2025-03-10T02:30/w 2025-03-10T07:30:00Z 2025-03-10T07:50:00Z",
		}},
		{"America/Chicago", "30 1 * * *", hour, "2025-11-01T12:00:00Z", "2025-11-03T12:00:00Z", []string{
			"2025-11-02T01:30/w 2025-11-02T06:30:00Z 2025-11-02T07:30:00Z", // once, and an hour of real time
			"2025-11-03T01:30/w 2025-11-03T07:30:00Z 2025-11-03T08:30:00Z",
		}},
		{"America/Chicago", "0,30 2 * * SUN", 10 * minute, "2025-03-08T12:00:00Z", "2025-03-10T12:00:00Z", []string{
			"2025-03-09T02:00/w 2025-03-09T08:00:00Z 2025-03-09T08:10:00Z", // two starts in one gap are one opening
		}},
		{"America/Chicago", "0 * * * *", 5 * minute, "2025-03-09T07:00:00Z", "2025-03-09T10:00:00Z", []string{
			"2025-03-09T01:00/w 2025-03-09T07:00:00Z 2025-03-09T07:05:00Z",
			"2025-03-09T02:00/w 2025-03-09T08:00:00Z 2025-03-09T08:05:00Z", // 02:00 and 03:00 are one instant
			"2025-03-09T04:00/w 2025-03-09T09:00:00Z 2025-03-09T09:05:00Z",
		}},
		{"Africa/Cairo", "0 0 * * FRI", hour, "2025-04-20T00:00:00Z", "2025-04-27T00:00:00Z", []string{
			"2025-04-25T00:00/w 2025-04-24T22:00:00Z 2025-04-24T23:00:00Z",
		}},
		{"America/Santiago", "0 0 * * 0", hour, "2025-09-05T00:00:00Z", "2025-09-09T00:00:00Z", []string{
			"2025-09-07T00:00/w 2025-09-07T04:00:00Z 2025-09-07T05:00:00Z",
		}},
		{"Europe/Berlin", "0 2 30 3 *", hour, "2025-03-29T00:00:00Z", "2025-04-01T00:00:00Z", []string{
			"2025-03-30T02:00/w 2025-03-30T01:00:00Z 2025-03-30T02:00:00Z",
		}},
		{"Australia/Lord_Howe", "45 1 * * *", hour, "2025-04-05T12:00:00Z", "2025-04-06T12:00:00Z", []string{
			"2025-04-06T01:45/w 2025-04-05T14:45:00Z 2025-04-05T15:45:00Z",
		}},
		{"Australia/Lord_Howe", "10 2 * * *", hour, "2025-10-04T12:00:00Z", "2025-10-05T12:00:00Z", []string{
			"2025-10-05T02:10/w 2025-10-04T15:30:00Z 2025-10-04T16:30:00Z",
		}},
		{"UTC", "30 12 * * MON", 30 * minute, "2027-02-01T00:00:00Z", "2027-02-09T00:00:00Z", []string{
			"2027-02-01T12:30/w 2027-02-01T12:30:00Z 2027-02-01T13:00:00Z",
			"2027-02-08T12:30/w 2027-02-08T12:30:00Z 2027-02-08T13:00:00Z",
		}},
	} {
		t.Run(c.zone+" "+c.cron, func(t *testing.T) {
			cal, z := usual(t, c.zone), only(dated("w", c.cron, c.length))
			found := Upcoming(cal, z, instant(t, c.from), instant(t, c.until))
			require.Equal(t, c.want, lines(found))
			for _, in := range found {
				require.Equal(t, in, At(cal, z, in.Start).Instance)
				require.Equal(t, in, At(cal, z, in.End.Add(-1)).Instance)
				require.NotEqual(t, in.ID, At(cal, z, in.Start.Add(-1)).Instance.ID)
				require.NotEqual(t, in.ID, At(cal, z, in.End).Instance.ID)
			}
		})
	}
}

// A window that a gap moves onto the next one's start still has its turn first,
// however the two are listed.
func TestGapKeepsTheOrder(t *testing.T) {
	cal := usual(t, "America/Chicago") // the change of 9 March 2025, as above
	z := only(daily("later", "03:00-04:00"), daily("sooner", "02:30-02:50"))
	for _, c := range []struct{ at, id string }{
		{"2025-03-09T07:59:59Z", ""},
		{"2025-03-09T08:00:00Z", "2025-03-09/sooner"},
		{"2025-03-09T08:19:59Z", "2025-03-09/sooner"},
		{"2025-03-09T08:20:00Z", "2025-03-09/later"},
		{"2025-03-09T08:59:59Z", "2025-03-09/later"},
		{"2025-03-09T09:00:00Z", ""},
	} {
		require.Equal(t, c.id, At(cal, z, instant(t, c.at)).Instance.ID, c.at)
	}
}

// Pacific/Apia  Fri Dec 30 09:59:59 2011 UT = Thu Dec 29 23:59:59 2011 -10 gmtoff=-36000
// Pacific/Apia  Fri Dec 30 10:00:00 2011 UT = Sat Dec 31 00:00:00 2011 +14 gmtoff=50400
func TestSkippedDate(t *testing.T) {
	cal := usual(t, "Pacific/Apia")
	z := only(daily("noon", "11:00-13:00"), daily("night", "22:00-02:00"), dated("rinse", "0 12 30 12 *", hour))
	found := Upcoming(cal, z, instant(t, "2011-12-29T12:00:00Z"), instant(t, "2011-12-31T20:00:00Z"))
	require.Equal(t, []string{
		"2011-12-29/noon 2011-12-29T21:00:00Z 2011-12-29T23:00:00Z",
		"2011-12-29/night 2011-12-30T08:00:00Z 2011-12-30T10:00:00Z", // 02:00 of the day that is not
		"2011-12-31/noon 2011-12-30T21:00:00Z 2011-12-30T23:00:00Z",
		"2011-12-31/night 2011-12-31T08:00:00Z 2011-12-31T12:00:00Z",
	}, lines(found))
	eve := At(cal, z, instant(t, "2011-12-30T09:59:59Z"))
	require.Equal(t, "2011-12-29/night", eve.Instance.ID)
	require.Equal(t, instant(t, "2011-12-29T16:00:00Z"), eve.LightsOn.UTC())
	morrow := At(cal, z, instant(t, "2011-12-30T10:00:00Z"))
	require.False(t, morrow.Open)
	require.Equal(t, instant(t, "2011-12-30T16:00:00Z"), morrow.Until.UTC())

	crop := &Zone{Named: true, Crop: &Crop{Day1: Date{2011, 12, 28}, Ends: 2, Stages: []Stage{{FromDay: 1, Windows: z.Windows}}}}
	require.Equal(t, 2, At(cal, crop, instant(t, "2011-12-30T15:59:59Z")).CropDay)
	over := At(cal, crop, instant(t, "2011-12-30T16:00:00Z"))
	require.Equal(t, 4, over.CropDay) // the 31st; day 3 was left out
	require.True(t, over.Fallow)
}
