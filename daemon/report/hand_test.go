package report

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/schedule"
	"rillgate/zones"
)

// A night and a day by hand arithmetic. 4.0 L a plant stands at 60.0 % after the last
// shot, 2.5 h before the lights go off; a plant takes 0.100 L/h with the lights on and
// 0.008 L/h without, for 12 h. It loses 0.25 + 0.096 = 0.346 L = 8.65 points, to 51.35 %:
// 14.42 % of the peak (0.346 / 4.0 = 8.65 %; 8.65 / 60 = 14.4167 %).
func TestTheNightByHand(t *testing.T) {
	b := newBook(t, "UTC", "2027-03-03 12:00")
	b.shot("2027-03-01 15:28", "daytime", zones.DriedBack, 120) // closed at 15:30
	b.minutes("2027-03-01 15:30", "2027-03-02 06:01", func(d time.Duration) float64 {
		day := min(d, 150*time.Minute).Hours()
		night := max(d-150*time.Minute, 0).Hours()
		return 60 - 100*(0.100*day+0.008*night)/4.0
	})
	b.shot("2027-03-02 06:01", "ramp-up", zones.BelowThreshold, 144)

	z := b.east(t, "2027-03-02")
	require.NotNil(t, z.DryBack)
	require.InDelta(t, 60.0, z.DryBack.Peak.Value, 1e-9)
	require.InDelta(t, 51.35, z.DryBack.Low.Value, 1e-9)
	require.InDelta(t, 8.65, z.DryBack.Points, 1e-9)
	require.InDelta(t, 14.416667, z.DryBack.Relative, 1e-5)
	require.Equal(t, b.at("2027-03-02 06:00"), z.DryBack.Low.At)
	require.InDelta(t, 0.2, z.UptakeNight.PointsPerHour, 1e-9)
	require.InDelta(t, 8, *z.UptakeNight.MLPerPlantHour, 1e-7)

	// The evening before: 2.5 points/h, less the half hour that the shot drains.
	z = b.east(t, "2027-03-01")
	require.InDelta(t, 2.5, z.UptakeDay.PointsPerHour, 1e-9)
	require.InDelta(t, 100, *z.UptakeDay.MLPerPlantHour, 1e-7)
	require.InDelta(t, 2.0, z.UptakeDay.Hours, 0.02)
	require.Nil(t, z.DryBack, "no shot before the day's only one is known")
}

// Four shots of 2 % of 4.0 L: 80 mL a plant each, of 144 s at 2 L/h; 20 plants get 1.6 L
// a shot. One more by hand of 90 s: 50 mL a plant, 1 L.
func TestTheWaterByHand(t *testing.T) {
	b := newBook(t, "UTC", "2027-03-02 20:00")
	for _, at := range []string{"07:00", "07:20", "07:40"} {
		b.shot("2027-03-02 "+at, "ramp-up", zones.BelowThreshold, 144)
	}
	b.shot("2027-03-02 11:00", "daytime", zones.DriedBack, 144)
	b.shot("2027-03-02 13:30", "", zones.ByHand, 90)
	z := b.east(t, "2027-03-02")
	require.Equal(t, 5, z.Shots)
	require.Equal(t, b.at("2027-03-02 07:00"), *z.FirstShot)
	require.Equal(t, b.at("2027-03-02 13:30"), *z.LastShot)
	require.InDelta(t, 4*1.6+1, z.Litres, 1e-9)
	require.InDelta(t, 4*80+50, *z.MLPlant, 1e-9)
	require.InDelta(t, 4*144+90, z.Seconds, 1e-9)
	require.Len(t, z.Windows, 3)
	for i, want := range []WindowShots{{"ramp-up", 3, 432, 4.8}, {"daytime", 1, 144, 1.6}, {byHand, 1, 90, 1}} {
		require.Equal(t, want.Window, z.Windows[i].Window)
		require.Equal(t, want.Shots, z.Windows[i].Shots)
		require.InDelta(t, want.Seconds, z.Windows[i].Seconds, 1e-9)
		require.InDelta(t, want.Litres, z.Windows[i].Litres, 1e-9)
	}
}

// Peak, floor and the time above the limit of 62 %: up a point a minute from 50 to 69 and
// straight down again; 63 to 69 and 69 to 63 are above it, 14 minutes.
func TestPeakFloorAndTheLimit(t *testing.T) {
	b := newBook(t, "UTC", "2027-03-02 20:00")
	b.minutes("2027-03-02 08:00", "2027-03-02 08:20", func(d time.Duration) float64 { return 50 + d.Minutes() })
	b.minutes("2027-03-02 08:20", "2027-03-02 08:40", func(d time.Duration) float64 { return 69 - d.Minutes() })
	b.in.PoreEC["east"] = []Sample{{b.at("2027-03-01 23:59"), 9}, {b.at("2027-03-02 08:00"), 3.1}, {b.at("2027-03-02 09:00"), 4.6}}
	z := b.east(t, "2027-03-02")
	require.Equal(t, Extreme{69, b.at("2027-03-02 08:19")}, *z.Peak)
	require.Equal(t, Extreme{50, b.at("2027-03-02 08:00")}, *z.Floor)
	require.InDelta(t, 14, *z.OverMax, 1e-9)
	require.InDelta(t, 40, z.Measured, 1e-9)
	require.Equal(t, Range{3.1, 4.6}, *z.PoreEC)
	require.Len(t, z.Curve.Percent, 20*12)
	require.InDelta(t, 52, *z.Curve.Percent[8*12], 1e-9, "the mean of 50 to 54")
	require.Nil(t, z.Curve.Percent[0])
}

// Lights from 20:00 to 08:00 burn over midnight. Moisture falls by 1 point/h under them and
// by 0.25 without. On the date on which Berlin's clocks go back (2027-10-31, tz database)
// they burn for 9 h from midnight and 4 h before the next.
func TestUptakeUnderLightsThatBurnOverMidnight(t *testing.T) {
	b := newBook(t, "Europe/Berlin", "2027-11-02 12:00")
	b.in.Plan.Calendar.Days = []schedule.Day{{On: 20 * time.Hour, Off: 8 * time.Hour}}
	level := 90.0
	for at := b.at("2027-10-31 00:00"); at.Before(b.at("2027-11-01 00:00")); at = at.Add(time.Minute) {
		b.in.Moisture["east"] = append(b.in.Moisture["east"], Sample{at, level})
		if h := at.Hour(); h < 8 || h >= 20 {
			level -= 1.0 / 60
		} else {
			level -= 0.25 / 60
		}
	}
	z := b.east(t, "2027-10-31")
	require.InDelta(t, 1, z.UptakeDay.PointsPerHour, 1e-9)
	require.InDelta(t, 13, z.UptakeDay.Hours, 0.05)
	require.InDelta(t, 0.25, z.UptakeNight.PointsPerHour, 1e-9)
	require.InDelta(t, 12, z.UptakeNight.Hours, 0.05)
}

// In history older than a week a number stands for five minutes.
func TestThinnedHistoryCountsFiveMinutes(t *testing.T) {
	b := newBook(t, "UTC", "2027-03-20 20:00")
	for m := range 12 {
		b.in.Moisture["east"] = append(b.in.Moisture["east"], Sample{b.at("2027-03-02 08:00").Add(time.Duration(5*m) * time.Minute), 60 + float64(m)})
	}
	z := b.east(t, "2027-03-02")
	require.InDelta(t, 60, z.Measured, 1e-9)
	require.InDelta(t, 9*5, *z.OverMax, 1e-9, "63 to 71 are above 62")
}

// A soak stands apart from the windows and from shots by hand.
func TestASoakInTheReport(t *testing.T) {
	b := newBook(t, "UTC", "2027-03-02 20:00")
	b.shot("2027-03-02 07:00", "ramp-up", zones.BelowThreshold, 144)
	b.shot("2027-03-02 13:00", "", zones.Soak, 600)
	b.shot("2027-03-02 13:20", "", zones.Soak, 600)
	z := b.east(t, "2027-03-02")
	require.Len(t, z.Windows, 2)
	require.Equal(t, soak, z.Windows[1].Window)
	require.Equal(t, 2, z.Windows[1].Shots)
	require.InDelta(t, 1200, z.Windows[1].Seconds, 1e-9)
}
