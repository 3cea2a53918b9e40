package schedule

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// firstCrop is the crop of the configuration's example: rooting, from week 3 (day
// 15) fruiting, eased over 5 days, until day 70.
func firstCrop() *Crop {
	percent := func(v float64) Shot { return Shot{ByPercent, v} }
	rooting := []Window{
		{Name: "ramp-up", From: on(hour), Until: on(4 * hour), StopAt: 60000, Shot: percent(3), Rest: 15 * minute},
	}
	fruiting := []Window{
		{Name: "ramp-up", From: on(hour), Until: on(4 * hour), Below: 48000, StopAt: 55000, Shot: percent(4), Rest: 25 * minute},
		{Name: "daytime", From: on(4 * hour), Until: off(-2 * hour), DryBack: 3000, Floor: 40000, Shot: percent(2), Rest: 20 * minute, MaxShots: 8},
		{Name: "night", From: off(0), Until: on(0), Below: 30000, Shot: Shot{BySeconds, 45}, Rest: hour, MaxShots: 2},
	}
	return &Crop{Name: "first", Day1: Date{2027, 2, 1}, Ends: 70, Stages: []Stage{
		{FromDay: 1, Routine: "rooting", Windows: rooting},
		{FromDay: 15, Routine: "fruiting", Windows: fruiting, EaseFor: 5},
	}}
}

func TestStagesChangeAtLightsOn(t *testing.T) {
	cal, z := usual(t, "America/Chicago"), &Zone{Named: true, Crop: firstCrop()}
	for _, c := range []struct {
		at     string
		stage  string
		day    int
		fallow bool
		lights string
	}{
		{"2027-02-01T05:59:59-06:00", "", 0, true, "2027-01-31T06:00:00-06:00"},
		{"2027-02-01T06:00:00-06:00", "rooting", 1, false, "2027-02-01T06:00:00-06:00"},
		{"2027-02-02T05:59:59-06:00", "rooting", 1, false, "2027-02-01T06:00:00-06:00"},
		{"2027-02-15T05:59:59-06:00", "rooting", 14, false, "2027-02-14T06:00:00-06:00"},
		{"2027-02-15T06:00:00-06:00", "fruiting", 15, false, "2027-02-15T06:00:00-06:00"},
		// Day 70 is 11 April, in daylight saving time since 14 March (see TestDaylightSaving for the form):
		// America/Chicago  Sun Mar 14 08:00:00 2027 UT = Sun Mar 14 03:00:00 2027 CDT gmtoff=-18000
		{"2027-04-12T05:59:59-05:00", "fruiting", 70, false, "2027-04-11T06:00:00-05:00"},
		{"2027-04-12T06:00:00-05:00", "", 71, true, "2027-04-12T06:00:00-05:00"},
		{"2029-01-01T12:00:00-06:00", "", 701, true, "2029-01-01T06:00:00-06:00"},
	} {
		s := At(cal, z, instant(t, c.at))
		require.Equal(t, c.stage, s.Stage, c.at)
		require.Equal(t, c.day, s.CropDay, c.at)
		require.Equal(t, c.fallow, s.Fallow, c.at)
		require.Equal(t, c.lights, s.LightsOn.Format(time.RFC3339), c.at)
	}
}

// On day k of 5 a number stands at old + (new-old) * k/5.
func TestEase(t *testing.T) {
	cal, z := usual(t, "America/Chicago"), &Zone{Named: true, Crop: firstCrop()}
	for _, c := range []struct {
		date   int // of February
		stopAt Level
		shot   float64
		rest   time.Duration
		below  Level
	}{
		{14, 60000, 3, 15 * minute, 0},
		{15, 59000, 3.2, 17 * minute, 48000}, // below is new: it stands at once
		{16, 58000, 3.4, 19 * minute, 48000},
		{18, 56000, 3.8, 23 * minute, 48000},
		{19, 55000, 4, 25 * minute, 48000},
		{20, 55000, 4, 25 * minute, 48000},
	} {
		w := At(cal, z, time.Date(2027, 2, c.date, 8, 0, 0, 0, cal.Location)).Instance.Window
		require.Equal(t, c.stopAt, w.StopAt, c.date)
		require.InDelta(t, c.shot, w.Shot.Value, 1e-12, c.date)
		require.Equal(t, c.rest, w.Rest, c.date)
		require.Equal(t, c.below, w.Below, c.date)
	}
	daytime := At(cal, z, time.Date(2027, 2, 15, 11, 0, 0, 0, cal.Location)).Instance.Window
	require.Equal(t, firstCrop().Stages[1].Windows[1], daytime, "nothing to ease from")
}

func TestEaseNumberByNumber(t *testing.T) {
	base := Window{Name: "w", Below: 40000, StopAt: 50000, DryBack: 3000, Floor: 30000, Shot: Shot{ByPercent, 2}, Rest: 10 * minute, MaxShots: 4,
		From: on(hour), Until: on(2 * hour)}
	changed := func(change func(*Window)) Window {
		w := base
		change(&w)
		return w
	}
	for name, c := range map[string]struct{ to, want Window }{
		"all numbers": {
			Window{Name: "w", Below: 44000, StopAt: 54000, DryBack: 4000, Floor: 31000, Shot: Shot{ByPercent, 3}, Rest: 14 * minute, MaxShots: 10},
			Window{Name: "w", Below: 41000, StopAt: 51000, DryBack: 3250, Floor: 30250, Shot: Shot{ByPercent, 2.25}, Rest: 11 * minute, MaxShots: 6}, // 4 + 6/4 = 5.5
		},
		"downwards": {
			changed(func(w *Window) { w.Below, w.MaxShots = 39999, 3 }),
			changed(func(w *Window) { w.Below, w.MaxShots = 40000, 4 }), // 39999.75, 3.75
		},
		"other unit":       {changed(func(w *Window) { w.Shot = Shot{BySeconds, 90} }), changed(func(w *Window) { w.Shot = Shot{BySeconds, 90} })},
		"level taken away": {changed(func(w *Window) { w.Floor = 0 }), changed(func(w *Window) { w.Floor = 0 })},
		"limit taken away": {changed(func(w *Window) { w.MaxShots = 0 }), changed(func(w *Window) { w.MaxShots = 0 })},
		"rest taken away":  {changed(func(w *Window) { w.Rest = 0 }), changed(func(w *Window) { w.Rest = 0 })},
		"times at once":    {changed(func(w *Window) { w.From, w.Until = clock("07:00"), off(0) }), changed(func(w *Window) { w.From, w.Until = clock("07:00"), off(0) })},
		"whole seconds":    {changed(func(w *Window) { w.Rest = 10*minute + 2*time.Second }), changed(func(w *Window) { w.Rest = 10*minute + time.Second })}, // 0.5 s up
		"other name":       {Window{Name: "v", Below: 1}, Window{Name: "v", Below: 1}},
	} {
		crop := Crop{Stages: []Stage{{FromDay: 1, Windows: []Window{base}}, {FromDay: 8, EaseFor: 4, Windows: []Window{c.to}}}}
		require.Equal(t, []Window{c.want}, crop.eased(1, 8), name)
		require.Equal(t, []Window{c.to}, crop.eased(1, 11), name)
	}
}

// A level that a window did not have stands at once, also where it was 0 before.
func TestEaseFromUnset(t *testing.T) {
	was, is := Window{Name: "w", StopAt: 50000}, Window{Name: "w", Below: 40000, StopAt: 54000, MaxShots: 3}
	crop := Crop{Stages: []Stage{{FromDay: 1, Windows: []Window{was}}, {FromDay: 2, EaseFor: 2, Windows: []Window{is}}}}
	require.Equal(t, []Window{{Name: "w", Below: 40000, StopAt: 52000, MaxShots: 3}}, crop.eased(1, 2))
	require.Equal(t, Level(50000), crop.Stages[0].Windows[0].StopAt, "the configuration stays as it is")
	require.Equal(t, Level(54000), crop.Stages[1].Windows[0].StopAt)
}

// A stage that is over before its numbers have arrived hands on what it had then:
// 40 -> 50 in 10 days, over after 5 at 45; then towards 60 in 5 days.
func TestEaseFromUnfinishedEase(t *testing.T) {
	at := func(l Level) []Window { return []Window{{Name: "w", Below: l}} }
	crop := Crop{Stages: []Stage{{FromDay: 1, Windows: at(40000)}, {FromDay: 11, EaseFor: 10, Windows: at(50000)}, {FromDay: 16, EaseFor: 5, Windows: at(60000)}}}
	for _, c := range []struct {
		day  int
		want Level
	}{{10, 40000}, {11, 41000}, {15, 45000}, {16, 48000}, {17, 51000}, {20, 60000}, {21, 60000}} {
		require.Equal(t, c.want, crop.routine(c.day).windows[0].Below, "day %d", c.day)
	}
}

func TestCropWithoutAStageYet(t *testing.T) {
	z := &Zone{Named: true, Crop: &Crop{Day1: Date{2027, 2, 1}, Stages: []Stage{{FromDay: 3, Routine: "late", Windows: []Window{daily("w", "00:00-24:00")}}}}}
	cal := usual(t, "UTC")
	before := At(cal, z, instant(t, "2027-02-02T12:00:00Z"))
	require.True(t, before.Fallow)
	require.Equal(t, 2, before.CropDay)
	require.True(t, At(cal, z, instant(t, "2027-02-04T12:00:00Z")).Open)
}

func TestScale(t *testing.T) {
	w := Window{Name: "w", Below: 40000, StopAt: 50000, DryBack: 3000, Floor: 30000, Shot: Shot{ByPercent, 2}, Rest: 10 * minute, MaxShots: 4}
	for name, c := range map[string]struct {
		scale Scale
		want  Window
	}{
		"none":   {Scale{}, w},
		"one":    {Scale{Shot: 1, Below: 1, StopAt: 1, DryBack: 1, Floor: 1, Rest: 1, MaxShots: 1}, w},
		"all":    {Scale{Shot: 0.9, Below: 1.1, StopAt: 1.2, DryBack: 0.5, Floor: 0.8, Rest: 1.5, MaxShots: 1.5}, Window{Name: "w", Below: 44000, StopAt: 60000, DryBack: 1500, Floor: 24000, Shot: Shot{ByPercent, 1.8}, Rest: 15 * minute, MaxShots: 6}},
		"tiny":   {Scale{Below: 1e-9, StopAt: 1e-9, DryBack: 1e-9, Floor: 1e-9, MaxShots: 1e-9}, Window{Name: "w", Below: 1, StopAt: 1, DryBack: 1, Floor: 1, Shot: w.Shot, Rest: w.Rest, MaxShots: 1}},
		"huge":   {Scale{Below: 1e9, MaxShots: 1e12}, Window{Name: "w", Below: 1<<31 - 1, StopAt: 50000, DryBack: 3000, Floor: 30000, Shot: w.Shot, Rest: w.Rest, MaxShots: 1<<31 - 1}},
		"rounds": {Scale{MaxShots: 0.9, Rest: 0.9991}, Window{Name: "w", Below: 40000, StopAt: 50000, DryBack: 3000, Floor: 30000, Shot: w.Shot, Rest: 9*minute + 59*time.Second, MaxShots: 4}}, // 3.6; 599.46 s
	} {
		windows := []Window{w}
		require.Equal(t, []Window{c.want}, c.scale.apply(windows), name)
		require.Equal(t, []Window{w}, windows, "the configuration stays as it is")
	}
	bare := []Window{{Name: "timed", Shot: Shot{BySeconds, 60}}}
	scaled := Scale{Shot: 0.5, Below: 2, StopAt: 2, DryBack: 2, Floor: 2, Rest: 2, MaxShots: 2}.apply(bare)
	require.Equal(t, []Window{{Name: "timed", Shot: Shot{BySeconds, 30}}}, scaled, "what is not set stays so")
}

// Scaling comes after easing: 59 % on the first of five days, times 0.9.
func TestScaledCrop(t *testing.T) {
	cal := usual(t, "America/Chicago")
	z := &Zone{Named: true, Crop: firstCrop(), Scale: Scale{Shot: 0.9, StopAt: 0.9}}
	w := At(cal, z, time.Date(2027, 2, 15, 8, 0, 0, 0, cal.Location)).Instance.Window
	require.Equal(t, Level(53100), w.StopAt)
	require.InDelta(t, 2.88, w.Shot.Value, 1e-12)
	require.Equal(t, Level(48000), w.Below)
}

func TestInForce(t *testing.T) {
	z := &Zone{Named: true, Crop: firstCrop(), Scale: Scale{StopAt: 0.9}}
	for _, c := range []struct {
		date   Date
		name   string
		day    int
		stopAt []Level
	}{
		{Date{2027, 1, 31}, "", 0, nil},
		{Date{2027, 2, 14}, "rooting", 14, []Level{54000}},
		{Date{2027, 2, 15}, "fruiting", 15, []Level{53100, 0, 0}},
		{Date{2027, 4, 11}, "fruiting", 70, []Level{49500, 0, 0}},
		{Date{2027, 4, 12}, "", 71, nil},
	} {
		name, day, windows := z.InForce(c.date)
		var stopAt []Level
		for _, w := range windows {
			stopAt = append(stopAt, w.StopAt)
		}
		require.Equal(t, c.name, name)
		require.Equal(t, c.day, day)
		require.Equal(t, c.stopAt, stopAt)
	}
	name, day, windows := only(daily("w", "08:00-09:00")).InForce(Date{2027, 1, 1})
	require.Equal(t, "only", name)
	require.Zero(t, day)
	require.Len(t, windows, 1)
}

// An opening keeps the stage in which it began to its end, with that day's numbers;
// the new stage's windows come after it.
func TestOpeningKeepsItsStage(t *testing.T) {
	cal := usual(t, "UTC")
	old := daily("night", "20:00-07:00")
	old.Below = 30000
	young := daily("dawn", "06:30-09:00")
	young.Below = 50000
	z := &Zone{Named: true, Crop: &Crop{Day1: Date{2027, 2, 1}, Stages: []Stage{
		{FromDay: 1, Routine: "one", Windows: []Window{old}}, {FromDay: 2, Routine: "two", Windows: []Window{young}}}}}
	for _, c := range []struct{ at, id, stage string }{
		{"2027-02-01T20:00:00Z", "2027-02-01/night", "one"},
		{"2027-02-02T05:59:59Z", "2027-02-01/night", "one"},
		{"2027-02-02T06:00:00Z", "2027-02-01/night", "two"},
		{"2027-02-02T06:59:59Z", "2027-02-01/night", "two"},
		{"2027-02-02T07:00:00Z", "2027-02-02/dawn", "two"},
		{"2027-02-02T08:59:59Z", "2027-02-02/dawn", "two"},
		{"2027-02-02T20:00:00Z", "", "two"},
	} {
		s := At(cal, z, instant(t, c.at))
		require.Equal(t, c.id, s.Instance.ID, c.at)
		require.Equal(t, c.stage, s.Stage, c.at)
	}
	require.Equal(t, Level(50000), At(cal, z, instant(t, "2027-02-02T06:00:00Z")).LowestBelow, "that of the routine in force")
	require.Equal(t, Level(30000), At(cal, z, instant(t, "2027-02-02T06:00:00Z")).Instance.Window.Below)
}

// While an opening of the stage before is still under way, the zone is not fallow.
func TestOpeningIntoAnEmptyStage(t *testing.T) {
	cal := usual(t, "UTC")
	z := &Zone{Named: true, Crop: &Crop{Day1: Date{2027, 2, 1}, Stages: []Stage{
		{FromDay: 1, Windows: []Window{daily("night", "20:00-07:00")}}, {FromDay: 2, Routine: "dry"}}}}
	last := At(cal, z, instant(t, "2027-02-02T06:59:59Z"))
	require.True(t, last.Open)
	require.False(t, last.Fallow)
	require.Equal(t, "dry", last.Stage)
	require.Zero(t, last.LowestBelow)
	require.True(t, At(cal, z, instant(t, "2027-02-02T07:00:00Z")).Fallow)
}

// The last day ends at the lights-on after it, and with it what is open then.
func TestOpeningEndsWithTheCrop(t *testing.T) {
	cal := usual(t, "UTC")
	z := &Zone{Named: true, Crop: &Crop{Day1: Date{2027, 2, 1}, Ends: 2, Stages: []Stage{{FromDay: 1, Windows: []Window{
		daily("night", "20:00-07:00"), dated("rinse", "30 5 * * *", hour)}}}}}
	require.Equal(t, []string{
		"2027-02-02/night 2027-02-02T20:00:00Z 2027-02-03T06:00:00Z",
		"2027-02-03T05:30/rinse 2027-02-03T05:30:00Z 2027-02-03T06:00:00Z",
	}, lines(Upcoming(cal, z, instant(t, "2027-02-02T12:00:00Z"), instant(t, "2027-03-01T00:00:00Z"))))
	require.True(t, At(cal, z, instant(t, "2027-02-03T05:59:59Z")).Open)
	require.True(t, At(cal, z, instant(t, "2027-02-03T06:00:00Z")).Fallow)
	_, ok := Next(cal, z, instant(t, "2027-02-03T05:30:00Z"))
	require.False(t, ok)
	in, ok := Next(cal, z, instant(t, "2027-01-01T00:00:00Z"))
	require.True(t, ok)
	require.Equal(t, "2027-02-01/night", in.ID)
}

// Where a name opens twice on one date, as the stages change between, the second
// has the time of day in its id, however it is asked for.
func TestTwoOpeningsOfOneNameOnOneDate(t *testing.T) {
	cal := usual(t, "UTC")
	z := &Zone{Named: true, Crop: &Crop{Day1: Date{2027, 2, 1}, Stages: []Stage{
		{FromDay: 1, Windows: []Window{daily("early", "05:00-05:30")}},
		{FromDay: 2, Windows: []Window{daily("early", "07:00-07:30"), dated("cron", "0 8 * * *", minute)}},
		{FromDay: 3, Windows: []Window{dated("early", "0 9 * * *", minute)}},
	}}}
	want := []string{
		"2027-02-02/early 2027-02-02T05:00:00Z 2027-02-02T05:30:00Z",
		"2027-02-02T07:00/early 2027-02-02T07:00:00Z 2027-02-02T07:30:00Z",
		"2027-02-02T08:00/cron 2027-02-02T08:00:00Z 2027-02-02T08:01:00Z",
		"2027-02-03T09:00/early 2027-02-03T09:00:00Z 2027-02-03T09:01:00Z",
	}
	found := Upcoming(cal, z, instant(t, "2027-02-02T00:00:00Z"), instant(t, "2027-02-04T00:00:00Z"))
	require.Equal(t, want, lines(found))
	for _, in := range found {
		require.Equal(t, in, At(cal, z, in.Start).Instance)
		next, ok := Next(cal, z, in.Start.Add(-1))
		require.True(t, ok)
		require.Equal(t, in, next)
	}
}

// A cron opening has the time in its id already and leaves the date to a daily one.
func TestCronThenDailyOfOneName(t *testing.T) {
	cal := usual(t, "UTC")
	z := &Zone{Named: true, Crop: &Crop{Day1: Date{2027, 2, 1}, Stages: []Stage{
		{FromDay: 1, Windows: []Window{dated("early", "0 5 * * *", minute)}},
		{FromDay: 2, Windows: []Window{daily("early", "07:00-07:30")}},
	}}}
	require.Equal(t, []string{
		"2027-02-02T05:00/early 2027-02-02T05:00:00Z 2027-02-02T05:01:00Z",
		"2027-02-02/early 2027-02-02T07:00:00Z 2027-02-02T07:30:00Z",
	}, lines(Upcoming(cal, z, instant(t, "2027-02-02T00:00:00Z"), instant(t, "2027-02-03T00:00:00Z"))))
}
