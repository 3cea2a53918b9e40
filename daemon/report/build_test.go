package report

import (
	"bytes"
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
	"rillgate/zones/response"
)

// The clocks of Berlin go forward on 2027-03-28 and back on 2027-10-31 (tz database): the
// days have 23 and 25 hours, and those beside them 24.
func TestDaysOfTheClocksChange(t *testing.T) {
	b := newBook(t, "Europe/Berlin", "2027-11-05 12:00")
	for date, hours := range map[string]float64{"2027-03-27": 24, "2027-03-28": 23, "2027-03-29": 24, "2027-10-31": 25, "2027-11-01": 24} {
		d := b.build(t, Ask{Day: date}).Days[0]
		require.Equal(t, date, d.Date)
		require.InDelta(t, hours, d.To.Sub(d.From).Hours(), 1e-9, date)
		require.Len(t, d.Zones[0].Curve.Percent, int(hours)*12, date)
	}
}

func TestWeeksAndDaysToCome(t *testing.T) {
	b := newBook(t, "Europe/Berlin", "2027-03-04 12:00")
	dates := func(a Ask) (out []string) {
		for _, d := range b.build(t, a).Days {
			out = append(out, d.Date)
		}
		return out
	}
	require.Equal(t, []string{"2027-03-01", "2027-03-02", "2027-03-03", "2027-03-04"}, dates(Ask{Week: true}), "Monday to today")
	require.Equal(t, []string{"2027-03-04"}, dates(Ask{}))
	require.Equal(t, []string{"2027-03-03"}, dates(Ask{Day: "yesterday"}))
	require.Equal(t, []string{"2027-02-28"}, dates(Ask{Day: "2027-02-28"}))
	require.Len(t, dates(Ask{Day: "2027-02-28", Week: true}), 7, "a Sunday ends its week")
	require.Equal(t, "2027-02-22", dates(Ask{Day: "2027-02-28", Week: true})[0])
	for _, a := range []Ask{{Day: "2027-03-05"}, {Day: "soon"}, {Day: "2027-02-30"}, {Days: 32}} {
		_, err := a.Edges(b.in.Now, b.in.Plan.Calendar.Location)
		require.Error(t, err, "%+v", a)
	}
}

func TestRunsBelongToTheDayTheyOpened(t *testing.T) {
	b := newBook(t, "UTC", "2027-03-03 12:00")
	b.shot("2027-03-01 23:59", "night", zones.BelowThreshold, 120)
	b.shot("2027-03-02 00:10", "night", zones.BelowThreshold, 60)
	require.Equal(t, 1, b.east(t, "2027-03-01").Shots)
	require.InDelta(t, 120, b.east(t, "2027-03-01").Seconds, 1e-9)
	require.InDelta(t, 60, b.east(t, "2027-03-02").Seconds, 1e-9)
}

// A run that gave no water is no shot, but it was cut short; one without an end counts as
// a shot whose water is not known.
func TestRunsThatAreNoShots(t *testing.T) {
	b := newBook(t, "UTC", "2027-03-02 20:00")
	b.line("2027-03-02 08:00", zones.Entry{Kind: "run-opened", Zone: "east", Run: "a", Window: "ramp-up"})
	b.line("2027-03-02 08:00", zones.Entry{Kind: "run-closed", Zone: "east", Run: "a", Reason: zones.LeakFound})
	z := b.east(t, "2027-03-02")
	require.Zero(t, z.Shots)
	require.Nil(t, z.FirstShot)
	require.Equal(t, []Count{{zones.LeakFound, 1}}, z.CutShort)
	require.Zero(t, *z.MLPlant)

	b.line("2027-03-02 09:00", zones.Entry{Kind: "run-opened", Zone: "east", Run: "b", Window: "ramp-up"})
	z = b.east(t, "2027-03-02")
	require.Equal(t, 1, z.Shots)
	require.Nil(t, z.MLPlant)
}

// Entries of before the journal named windows: the schedule tells, and says so.
func TestOldRunsAreHeldAgainstTheSchedule(t *testing.T) {
	b := newBook(t, "UTC", "2027-03-02 20:00")
	b.shot("2027-03-02 07:30", "", zones.BelowThreshold, 60) // lights-on + 1.5 h
	b.shot("2027-03-02 10:30", "", zones.DriedBack, 60)
	b.shot("2027-03-02 19:00", "", zones.BelowThreshold, 60)
	b.shot("2027-03-02 19:30", "", zones.LostProbesTimed, 60)
	z := b.east(t, "2027-03-02")
	var names []string
	var byPlan []bool
	for _, r := range z.Runs {
		names, byPlan = append(names, r.Window), append(byPlan, r.ByPlan)
	}
	require.Equal(t, []string{"ramp-up", "daytime", unnamed, fallback}, names)
	require.Equal(t, []bool{true, true, false, false}, byPlan)
}

// The dry-back of lights that burn over midnight is that of their night at noon.
func TestDryBackIsTheLargestOfTheDay(t *testing.T) {
	b := newBook(t, "UTC", "2027-03-03 12:00")
	flat := func(from, to string, hi, lo float64) {
		span := b.at(to).Sub(b.at(from))
		b.minutes(from, to, func(d time.Duration) float64 { return hi - (hi-lo)*float64(d)/float64(span) })
	}
	b.shot("2027-03-01 23:30", "", zones.TimedShot, 60)
	flat("2027-03-01 23:31", "2027-03-02 00:30", 60, 58)
	b.shot("2027-03-02 00:30", "", zones.TimedShot, 60)
	flat("2027-03-02 00:31", "2027-03-02 12:30", 60, 50)
	b.shot("2027-03-02 12:30", "", zones.TimedShot, 60)
	z := b.east(t, "2027-03-02")
	require.InDelta(t, 10, z.DryBack.Points, 0.05)
	require.Equal(t, b.at("2027-03-02 00:31"), z.DryBack.Peak.At)
}

func TestRefusalsAndAlarms(t *testing.T) {
	b := newBook(t, "UTC", "2027-03-02 20:00")
	b.line("2027-02-28 10:00", zones.Entry{Kind: "alarm", Zone: "east", Reason: zones.NoResponse, Because: "no rise"})
	b.line("2027-03-01 08:00", zones.Entry{Kind: "alarm", Zone: "east", Reason: zones.AlarmDry})
	b.line("2027-03-01 09:00", zones.Entry{Kind: "alarm-over", Zone: "east", Reason: zones.AlarmDry})
	b.line("2027-03-02 08:00", zones.Entry{Kind: "refused", Zone: "east", Reason: zones.SupplyBusy})
	b.line("2027-03-02 08:01", zones.Entry{Kind: "refused", Zone: "east", Reason: zones.ClockUnsure})
	b.line("2027-03-02 09:00", zones.Entry{Kind: "refused", Zone: "east", Reason: zones.ClockUnsure})
	b.line("2027-03-02 09:00", zones.Entry{Kind: "refused", Zone: "west", Reason: zones.ClockUnsure})
	b.line("2027-03-02 10:00", zones.Entry{Kind: "alarm", Reason: zones.BrokerLost, Because: "no broker"})
	b.line("2027-03-02 11:00", zones.Entry{Kind: "alarm-over", Reason: zones.BrokerLost})
	r := b.build(t, Ask{Day: "2027-03-02"})
	z := &r.Days[0].Zones[0]
	require.Equal(t, []Count{{zones.ClockUnsure, 2}, {zones.SupplyBusy, 1}}, z.Refusals)
	require.Len(t, z.Alarms, 1, "the other was over the day before")
	require.Equal(t, zones.NoResponse, z.Alarms[0].Code)
	require.Nil(t, z.Alarms[0].Over)
	require.Len(t, r.Days[0].Alarms, 1)
	require.Equal(t, b.at("2027-03-02 11:00"), *r.Days[0].Alarms[0].Over)

	b.line("2027-03-02 12:00", zones.Entry{Kind: "started"})
	z = b.east(t, "2027-03-02")
	require.Equal(t, b.at("2027-03-02 12:00"), *z.Alarms[0].Over, "what still stands would have risen anew")
}

func TestWhatIsNotKnownIsNotMadeUp(t *testing.T) {
	b := newBook(t, "UTC", "2027-03-02 20:00")
	z := b.east(t, "2027-03-02")
	require.Nil(t, z.Peak)
	require.Nil(t, z.OverMax)
	require.Nil(t, z.DryBack)
	require.Nil(t, z.PoreEC)
	require.Nil(t, z.UptakeDay)
	require.Nil(t, z.Uniformity)

	number := response.Number{Value: 1.5, N: 9}
	b.in.Learned = map[string]response.Learned{"east": {UptakeDay: number}}
	z = b.east(t, "2027-03-02")
	require.Equal(t, Uptake{PointsPerHour: 1.5, Learned: true}, *z.UptakeDay)
	require.Nil(t, z.UptakeNight)
}

func TestReportSurvivesJSON(t *testing.T) {
	b := newBook(t, "Europe/Berlin", "2027-03-02 20:00")
	b.shot("2027-03-02 07:30", "ramp-up", zones.BelowThreshold, 60)
	b.minutes("2027-03-02 00:00", "2027-03-02 20:00", func(d time.Duration) float64 { return 50 })
	r := b.build(t, Ask{})
	body, err := json.Marshal(r)
	require.NoError(t, err)
	var back Report
	require.NoError(t, json.Unmarshal(body, &back))
	var a, c bytes.Buffer
	require.NoError(t, r.Text(&a))
	require.NoError(t, back.Text(&c))
	require.Equal(t, a.String(), c.String())
}
