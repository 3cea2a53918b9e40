package configs

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/schedule"
	"rillgate/zones"
)

func noon(t *testing.T, text string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339, text)
	require.NoError(t, err)
	return at
}

// TestWords compares the words of both examples with what was read and found good.
func TestWords(t *testing.T) {
	for _, room := range []string{ExampleBay, ExampleDemo} {
		got := Words(loadExample(t, room), noon(t, "2027-02-12T03:00:00Z")).String()
		path := filepath.Join("testdata", "words-"+room+".txt")
		if *update {
			require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
		}
		want, err := os.ReadFile(path)
		require.NoError(t, err)
		require.Equal(t, string(want), got)
	}
}

// The output that is held while all is well is said with what hangs on it.
func TestHealthyInWords(t *testing.T) {
	l := loadExample(t, ExampleBay)
	at := noon(t, "2027-02-12T03:00:00Z")
	require.NotContains(t, Words(l, at).String(), "held while")
	l.Plan.Healthy = &zones.Output{Controller: "north", Number: 9}
	require.Contains(t, Words(l, at).String(), "held while all is well, dropped by an urgent alarm or by whatever dies: north/9\n")
	l.Plan.HealthyPart.Drives = "horn"
	require.Contains(t, Words(l, at).String(), "whatever dies: north/9, horn\n")
}

// A shot of 3 % of 6.5 L is 195 mL a plant; two emitters of 2 L/h give it in 175.5 s,
// and 48 plants get 9.36 L: reckoned by hand.
func TestShotInEveryMeasure(t *testing.T) {
	z := &loadExample(t, ExampleBay).Plan.Zones[0]
	for _, s := range []schedule.Shot{{Kind: schedule.ByPercent, Value: 3}, {Kind: schedule.ByMillilitres, Value: 195}, {Kind: schedule.BySeconds, Value: 175.5}} {
		w := shotWords(z, s)
		require.InDelta(t, 3, *w.Percent, 1e-9)
		require.InDelta(t, 195, *w.ML, 1e-9)
		require.InDelta(t, 175.5, *w.Seconds, 1e-9)
		require.InDelta(t, 9.36, *w.Litres, 1e-9)
	}
	bare := shotWords(&zones.Zone{}, schedule.Shot{Kind: schedule.BySeconds, Value: 45})
	require.Nil(t, bare.ML, "not known without emitters")
	require.Equal(t, "45 s", bare.String())
}

// By hand for the demonstration's first bench: ramp-up 3 h, a shot of 175.5 s each
// 1075.5 s: 11; daytime 8 of 117 s; night 2 of 45 s; 2956.5 s in all.
func TestBusiestDay(t *testing.T) {
	p := loadExample(t, ExampleDemo).Plan
	m := newDemand(p)
	require.Equal(t, 2956500*time.Millisecond, m.busiestOf(&p.Zones[0]).need)
	z := zones.Zone{ID: "x", Limits: zones.Limits{MinRest: 5 * time.Minute}}
	w := schedule.Window{Shot: schedule.Shot{Kind: schedule.BySeconds, Value: 60}, Rest: 4 * time.Minute}
	for length, want := range map[time.Duration]int{0: 0, time.Second: 1, 6 * time.Minute: 1, 6*time.Minute + time.Second: 2, time.Hour: 10} {
		n, _ := shotsIn(&z, &w, length)
		require.Equal(t, want, n, "min_rest is the longer: a shot each 6 min in %s", length)
	}
}

// Several cron openings in a day, and weekday windows only on their day.
func TestBusiestCountsDatedWindows(t *testing.T) {
	z := zones.Zone{ID: "x", Limits: zones.Limits{MinRest: time.Minute}}
	shot := schedule.Shot{Kind: schedule.BySeconds, Value: 10}
	windows := []schedule.Window{
		{Name: "a", Cron: "0 */6 * * *", For: time.Minute, Shot: shot, MaxShots: 1},
		{Name: "b", On: 1 << time.Monday, From: schedule.Edge{Offset: time.Hour}, Until: schedule.Edge{Offset: 2 * time.Hour}, Shot: shot, MaxShots: 2},
		{Name: "c", On: 1 << time.Friday, From: schedule.Edge{Offset: time.Hour}, Until: schedule.Edge{Offset: 2 * time.Hour}, Shot: shot, MaxShots: 3},
	}
	require.Equal(t, (4+3)*10*time.Second, newDemand(&zones.Plan{}).busiest(&z, windows, schedule.Day{}))
}

// The steps are those of the time zone database (2026b and before): northamerica,
// rule US; europe, rule EU; australasia, rule LH (half an hour); Etc/UTC has none.
func TestNextClockChange(t *testing.T) {
	for name, want := range map[string]*ClockChange{
		"America/Chicago":     {Before: "02:00", After: "03:00", By: 3600, At: noon(t, "2027-03-14T08:00:00Z")},
		"Europe/Lisbon":       {Before: "01:00", After: "02:00", By: 3600, At: noon(t, "2027-03-28T01:00:00Z")},
		"Australia/Lord_Howe": {Before: "02:00", After: "01:30", By: -1800, At: noon(t, "2027-04-03T15:00:00Z")},
		"Etc/UTC":             nil,
		"America/Phoenix":     nil,
	} {
		loc, err := time.LoadLocation(name)
		require.NoError(t, err)
		got := nextChange(noon(t, "2027-02-12T03:00:00Z").In(loc))
		if want == nil {
			require.Nil(t, got, name)
			continue
		}
		require.NotNil(t, got, name)
		require.True(t, want.At.Equal(got.At), "%s: %s", name, got.At)
		want.At = got.At
		require.Equal(t, want, got, name)
	}
}

func TestWordsAsJSON(t *testing.T) {
	text, err := json.Marshal(Words(loadExample(t, ExampleDemo), noon(t, "2027-02-12T03:00:00Z")))
	require.NoError(t, err)
	var back PlanWords
	require.NoError(t, json.Unmarshal(text, &back))
	require.Len(t, back.Zones, 2)
	require.Len(t, back.Zones[0].Windows, 3)
	require.Nil(t, back.Clock)
	require.True(t, back.Queues[0].Fits)
}

func TestFollows(t *testing.T) {
	l := loadExample(t, ExampleBay)
	z := &l.Plan.Zones[0]
	for at, want := range map[string]string{
		"2027-01-31T18:00:00Z": "crop `first`, whose day 1 is 2027-02-01",
		"2027-02-01T18:00:00Z": "crop `first`, day 1: `rooting`",
		"2027-02-15T18:00:00Z": "crop `first`, day 15: `fruiting`",
		"2027-04-11T18:00:00Z": "crop `first`, day 70: `fruiting`",
		"2027-04-12T18:00:00Z": "crop `first`, which has ended: no water",
	} {
		require.Equal(t, want, follows(l.Plan, z, noon(t, at)), at)
	}
}

func TestExplain(t *testing.T) {
	l, _ := Parse(baseFiles(t))
	text, err := Explain(l, "west")
	require.NoError(t, err)
	require.Regexp(t, `(?m)^  plants +24 +room.yaml:40$`, text)
	require.Regexp(t, `(?m)^  limits.max_run +6 min +room.yaml:35 \(defaults\)$`, text)
	require.Regexp(t, `(?m)^  schedule.routine +fruiting +schedule.yaml:19$`, text)
	_, err = Explain(l, "attic")
	require.EqualError(t, err, `explain zone "attic": there is no such zone; the zones are east, west or spare`)
}

// A zone's keys replace the defaults one by one: one key of moisture leaves the others.
func TestDefaultsAreReplacedOneByOne(t *testing.T) {
	f := readFault(t, filepath.Join(faultDir, "ok-own-quorum.txt"))
	l, ps := Parse(f.files)
	require.Empty(t, told(ps))
	west := l.Plan.Zones[1]
	require.Equal(t, zones.Moisture{Combine: zones.Median, Quorum: 1, StaleAfter: 3 * time.Minute, PlausibleLo: 2000, PlausibleHi: 95000}, west.Moisture)
	require.Equal(t, 2, l.Plan.Zones[0].Moisture.Quorum)
	text, err := Explain(l, "west")
	require.NoError(t, err)
	require.Regexp(t, `moisture.quorum +1 +room.yaml:40\n`, text)
	require.Regexp(t, `moisture.combine +median +room.yaml:34 \(defaults\)\n`, text)
}

// What the files leave open is built in, and explain says so.
func TestBuiltIn(t *testing.T) {
	files := baseFiles(t)
	room := string(files[RoomFile])
	room = strings.Replace(room, "  moisture: {combine: median, quorum: 1, stale_after: 3 min, plausible: 2 % to 95 %}\n", "", 1)
	room = strings.Replace(room, "min_rest: 5 min, ", "", 1)
	files[RoomFile] = []byte(strings.Replace(room, "  on_lost_probes: close\n", "", 1))
	l, ps := Parse(files)
	require.Empty(t, told(ps))
	east, west := l.Plan.Zones[0], l.Plan.Zones[1]
	require.Equal(t, zones.Moisture{Combine: zones.Median, Quorum: 2, StaleAfter: 3 * time.Minute, PlausibleLo: 2000, PlausibleHi: 95000}, east.Moisture)
	require.Equal(t, 1, west.Moisture.Quorum, "one probe, so one is asked for")
	require.Equal(t, 5*time.Minute, east.Limits.MinRest)
	require.Nil(t, east.Lost)
	text, _ := Explain(l, "west")
	for _, line := range []string{`moisture.quorum +1 +built in`, `limits.min_rest +5 min +built in`, `on_lost_probes +close +built in`, `moisture.plausible +2 % to 95 % +built in`} {
		require.Regexp(t, line, text)
	}
}
