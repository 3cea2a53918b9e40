package configs

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/schedule"
	"rillgate/zones"
)

// The worked examples of the manual, reckoned by the schedule itself.

// example parses the first block under a heading and gives the zone.
func (m manual) example(t *testing.T, heading string) (*zones.Plan, *zones.Zone) {
	t.Helper()
	blocks := m.blocks(heading, "yaml")
	require.NotEmpty(t, blocks, heading)
	l, ps := Parse(withBlock(t, blocks[0]))
	require.NotNil(t, l, told(ps))
	return l.Plan, &l.Plan.Zones[0]
}

func percentOf(t *testing.T, cell string) zones.Level {
	t.Helper()
	m, f := amount(percentage, "0 %", "100 %", "50 %").read(cell)
	require.Nil(t, f, cell)
	return m.level()
}

// day is one in the examples, in the room's time.
func clockOn(t *testing.T, p *zones.Plan, date, clock string) time.Time {
	t.Helper()
	at, err := time.ParseInLocation("2006-01-02 15:04", date+" "+clock, p.Calendar.Location)
	require.NoError(t, err)
	return at
}

// TestDocumentedShots goes through the tables of moistures row by row: a shot is
// given where the window asks for one, the rest is over and max_shots allow it.
func TestDocumentedShots(t *testing.T) {
	m := readManual(t)
	for _, heading := range []string{"`below` with `stop_at`: a series", "`stop_at` alone: up to a level, once", "`dry_back` with `floor`: a fall from the highest"} {
		plan, z := m.example(t, heading)
		rows := m.rows(heading)
		require.GreaterOrEqual(t, len(rows), 4, heading)
		var progress schedule.Progress
		var rested time.Time
		for _, row := range rows {
			at := clockOn(t, plan, "2027-03-02", row[0])
			sight := schedule.Sight{Known: true, Moisture: percentOf(t, row[len(row)-2])}
			if len(row) == 4 {
				sight.FallKnown, sight.Fall = true, percentOf(t, row[1])-sight.Moisture
			}
			s := schedule.At(&plan.Calendar, &z.Schedule, at)
			given := false
			if s.Open {
				w := &s.Instance.Window
				var trigger schedule.Trigger
				trigger, progress = schedule.Decide(w, progress.For(s.Instance.ID), sight)
				given = trigger != schedule.None && !at.Before(rested) && (w.MaxShots == 0 || progress.Shots < w.MaxShots)
				if given {
					run, ok := z.RunTime(w.Shot)
					require.True(t, ok)
					progress.Shots++
					rested = at.Add(run + max(w.Rest, z.Limits.MinRest))
				}
			}
			require.Equal(t, given, strings.HasPrefix(row[len(row)-1], "**shot**"), "%s: %v", heading, row)
			require.NotEqual(t, given, strings.HasPrefix(row[len(row)-1], "no shot"), "%s: %v", heading, row)
		}
	}
}

// TestDocumentedSizes: a shot in every measure.
func TestDocumentedSizes(t *testing.T) {
	z := &loadExample(t, ExampleBay).Plan.Zones[0]
	rows := readManual(t).rows("How large a shot is")
	require.Len(t, rows, 4)
	for _, row := range rows {
		m, f := shotKind.read(strings.Trim(row[0], "`"))
		require.Nil(t, f)
		w := shotWords(z, shotOf(m))
		require.Equal(t, row[1:], []string{number(*w.ML, 2) + " mL", number(*w.Seconds, 2) + " s", number(*w.Litres, 2) + " L"})
	}
}

// TestDocumentedEase: the numbers of each day, eased and scaled.
func TestDocumentedEase(t *testing.T) {
	m := readManual(t)
	plan, z := m.example(t, "Crops, stages, `ease`")
	rows := m.rows("Crops, stages, `ease`")
	require.Len(t, rows, 6)
	for _, row := range rows {
		s := schedule.At(&plan.Calendar, &z.Schedule, clockOn(t, plan, row[1], "08:00"))
		require.True(t, s.Open, row)
		w := &s.Instance.Window
		require.Equal(t, row, []string{itoa(s.CropDay), row[1], levelWords(w.Below), levelWords(w.StopAt), shotText(w.Shot), spanWords(w.Rest), itoa(w.MaxShots)})
	}
}

// TestDocumentedClockChanges: by the time zone database, for America/Chicago.
func TestDocumentedClockChanges(t *testing.T) {
	rows := readManual(t).rows("When the clocks change")
	require.Len(t, rows, 7)
	calendar := loadExample(t, ExampleBay).Plan.Calendar
	for _, row := range rows {
		from, until, ok := strings.Cut(strings.ReplaceAll(row[0], "`", ""), " to ")
		require.True(t, ok)
		block := "# schedule.yaml\nzones: {east: [{window: w, from: " + from + ", until: " + until + ", below: 40 %, shot: 45 s}]}\n"
		l, ps := Parse(withBlock(t, block))
		require.NotNil(t, l, told(ps))
		midnight := clockOn(t, l.Plan, row[1], "00:00")
		var found []schedule.Instance
		for _, in := range schedule.Upcoming(&calendar, &l.Plan.Zones[0].Schedule, midnight, midnight.AddDate(0, 0, 1)) {
			if strings.HasPrefix(in.ID, row[1]) {
				found = append(found, in)
			}
		}
		require.Len(t, found, 1, "once: %v", row)
		const shown = "15:04 -07:00"
		require.Equal(t, row[2:], []string{found[0].Start.Format(shown), found[0].End.Format(shown), spanWords(found[0].End.Sub(found[0].Start))}, "%v", row)
	}
}

// TestDocumentedRanks: of windows that are open together the dated one has the time.
func TestDocumentedRanks(t *testing.T) {
	plan, z := readManual(t).example(t, "Windows by the lights, by the day, over midnight")
	for at, want := range map[string]string{"2027-03-06 10:00": "weekend", "2027-03-08 12:45": "monday-rinse", "2027-03-08 13:05": "daytime", "2027-03-09 02:00": "night"} {
		date, clock, _ := strings.Cut(at, " ")
		s := schedule.At(&plan.Calendar, &z.Schedule, clockOn(t, plan, date, clock))
		require.True(t, s.Open, at)
		require.Equal(t, want, s.Instance.Window.Name, at)
	}
}
