package handover

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/configs"
	"rillgate/daemon/report"
	"rillgate/zones"
)

// demo is the demonstration's room; room changes its room.yaml, schedule its schedule.yaml.
func demo(t *testing.T, room, schedule *strings.Replacer) *configs.Loaded {
	t.Helper()
	files := configs.ExampleFiles(configs.ExampleDemo)
	if room != nil {
		files[configs.RoomFile] = []byte(room.Replace(string(files[configs.RoomFile])))
	}
	if schedule != nil {
		files[configs.ScheduleFile] = []byte(schedule.Replace(string(files[configs.ScheduleFile])))
	}
	loaded, problems := configs.Parse(files)
	require.NotNil(t, loaded, "%v", problems)
	return loaded
}

var now = time.Date(2027, 3, 8, 0, 30, 0, 0, time.UTC)

// past makes the days before now, the last one first; each zone had so many shots of a
// minute, 3.2 L each, from 07:00 on, every quarter of an hour.
func past(shots ...int) *report.Report {
	r := &report.Report{}
	for i, n := range shots {
		from := time.Date(2027, 3, 7-i, 0, 0, 0, 0, time.UTC)
		d := report.Day{Date: from.Format(time.DateOnly), From: from, To: from.AddDate(0, 0, 1)}
		for _, zone := range []string{"bench-a", "bench-b"} {
			z := report.ZoneDay{Zone: zone}
			for k := range n {
				at := from.Add(7*time.Hour + time.Duration(k)*15*time.Minute)
				shut := at.Add(time.Minute)
				z.Runs = append(z.Runs, report.Run{ID: fmt.Sprint(i, k), Opened: at, Closed: &shut, Window: "ramp-up", Seconds: 60, Litres: 3.2})
				z.Shots, z.Seconds, z.Litres = z.Shots+1, z.Seconds+60, z.Litres+3.2
			}
			d.Zones = append(d.Zones, z)
		}
		r.Days = append(r.Days, d)
	}
	return r
}

// east gives the card of bench-a.
func east(l *configs.Loaded, days *report.Report) Card { return Deal(l.Plan, days, now)[0] }

// The middle day is taken: neither the one with the most water nor the one with the least.
func TestTheMiddleGoodDay(t *testing.T) {
	l := demo(t, nil, nil)
	c := east(l, past(9, 4, 6))
	require.True(t, c.Lived)
	require.Equal(t, "As on 2027-03-05, the middle one by litres of the 3 good days among the last 7", c.Basis)
	require.Len(t, c.Shots, 1)
	s := c.Shots[0]
	require.Equal(t, 6, s.Count)
	require.Equal(t, time.Minute, s.Length)
	require.InDelta(t, 3.2, s.Litres, 1e-9)
	require.InDelta(t, 19.2, c.Litres, 1e-9)
	require.InDelta(t, 400, c.MLPlant, 1e-9, "19.2 L on 48 plants")
	require.Equal(t, "07:00, 07:15, 07:30, 07:45, 08:00, 08:15", writing{loc: time.UTC}.times(&s))
	require.InDelta(t, 4*3.2, east(l, past(9, 4)).Litres, 1e-9, "of two the lower")
}

// A day is not good when it is not over, had an alarm, a run cut short, one without an end,
// or no shot.
func TestDaysThatAreNotGood(t *testing.T) {
	l := demo(t, nil, nil)
	shut := now
	for name, spoil := range map[string]func(d *report.Day, z *report.ZoneDay){
		"not over":         func(d *report.Day, _ *report.ZoneDay) { d.SoFar = true },
		"an alarm":         func(_ *report.Day, z *report.ZoneDay) { z.Alarms = []report.Alarm{{Code: zones.AlarmDry, Over: &shut}} },
		"the room's alarm": func(d *report.Day, _ *report.ZoneDay) { d.Alarms = []report.Alarm{{Code: zones.BrokerLost}} },
		"cut short": func(_ *report.Day, z *report.ZoneDay) {
			z.CutShort = []report.Count{{Reason: zones.HeldByPerson, Count: 1}}
		},
		"a run with no end":  func(_ *report.Day, z *report.ZoneDay) { z.Runs[2].Closed = nil },
		"no shot":            func(_ *report.Day, z *report.ZoneDay) { *z = report.ZoneDay{Zone: z.Zone} },
		"a soak":             func(_ *report.Day, z *report.ZoneDay) { z.Runs[2].Reason = zones.Soak },
		"of another zone":    func(_ *report.Day, z *report.ZoneDay) { z.Zone = "bench-c" },
		"shots of no length": func(_ *report.Day, z *report.ZoneDay) { z.Seconds = 0 },
	} {
		days := past(6)
		spoil(&days.Days[0], &days.Days[0].Zones[0])
		c := east(l, days)
		require.False(t, c.Lived, name)
		require.Contains(t, c.Basis, "From the schedule", name)
	}
	days := past(6)
	days.Days[0].Alarms = []report.Alarm{{Code: zones.AlarmPlanRejected}}
	require.True(t, east(l, days).Lived, "files that were refused say nothing of water")
}

// No shot of the card is longer than max_run is today.
func TestNeverLongerThanMaxRun(t *testing.T) {
	l := demo(t, nil, nil)
	for i := range l.Plan.Zones { // files with such a schedule are refused; the days before may be of another plan
		l.Plan.Zones[i].Limits.MaxRun = 50 * time.Second
	}
	for name, days := range map[string]*report.Report{"lived": past(6), "planned": nil} {
		for _, c := range Deal(l.Plan, days, now) {
			require.Equal(t, 50*time.Second, c.MaxRun)
			require.NotEmpty(t, c.Shots, name)
			for _, s := range c.Shots {
				require.LessOrEqual(t, s.Length, c.MaxRun, "%s %s", name, c.Zone)
			}
		}
	}
}

// From the schedule: by hand from the demonstration's files. ramp-up 07:00 to 10:00, 3 % of
// 6.5 L = 195 mL at 4 L/h a plant = 175.5 s, rest 15 min: a shot each 1075 s into 10800 s
// are 11; daytime 130 mL = 117 s, 8; night 45 s, 2.
func TestFromTheSchedule(t *testing.T) {
	c := east(demo(t, nil, nil), nil)
	require.False(t, c.Lived)
	require.Len(t, c.Shots, 3)
	for i, want := range []Shots{{Count: 11, Length: 175 * time.Second}, {Count: 8, Length: 115 * time.Second}, {Count: 2, Length: 45 * time.Second}} {
		require.Equal(t, want.Count, c.Shots[i].Count, i)
		require.Equal(t, want.Length, c.Shots[i].Length, i)
		require.True(t, c.Shots[i].AtMost)
	}
	require.InDelta(t, 11*175+8*115+2*45, c.Seconds, 1e-9)
	require.InDelta(t, c.Seconds/3600*192, c.Litres, 1e-9, "48 plants, two emitters of 2 L/h each")
	require.Equal(t, "from under 50 % to 55 %", c.Shots[0].Asks)
	require.Equal(t, "1 min every 2 h while a window is open, at most 6 min in 24 h", c.Blind)
	require.Equal(t, []string{"bench-a (north output 1)"}, c.Valves)
	require.Equal(t, "and before it the master of tank (north output 8)", c.Master)

	little := east(demo(t, strings.NewReplacer("max_per_day: 60 min", "max_per_day: 20 min"), nil), nil)
	require.LessOrEqual(t, little.Seconds, 1200.0, "the day's limit binds")
	require.Equal(t, 6, little.Shots[0].Count)
}

// A zone that the schedule gives nothing has no shots, whatever it had last week.
func TestNoWaterIsDue(t *testing.T) {
	l := demo(t, nil, strings.NewReplacer("bench-a: {routine: fruiting}", "bench-a: none"))
	c := east(l, past(6))
	require.Empty(t, c.Shots)
	require.Contains(t, c.Basis, "no water")
	require.NotEmpty(t, Deal(l.Plan, past(6), now)[1].Shots)
}

// A week's window that is not today's is named with its day.
func TestTheNextWindowIsDaysAway(t *testing.T) {
	l := demo(t, nil, strings.NewReplacer("bench-a: {routine: fruiting}", `bench-a: [{window: rinse, cron: "30 12 * * THU", for: 30 min, shot: 60 s}]`))
	c := east(l, nil)
	require.Empty(t, c.Shots)
	require.Contains(t, c.Basis, "the next window, rinse, opens Thursday 2027-03-11 12:30")
}
