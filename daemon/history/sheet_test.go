package history

import (
	"bytes"
	"encoding/csv"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/store"
	"rillgate/zones"
)

// autumn is the night in which Europe/Berlin shows 02:00 to 03:00 twice.
var autumn = time.Date(2027, 10, 30, 22, 0, 0, 0, time.UTC)

func points(from time.Time, every time.Duration, n int, first int32) (out []store.Point) {
	for i := range n {
		out = append(out, store.Point{At: from.Add(time.Duration(i) * every), Value: first + int32(10*i)})
	}
	return out
}

func written(t *testing.T, loc *time.Location, parts ...func(*Sheet) error) []byte {
	var b bytes.Buffer
	s, err := NewSheet(&b, loc)
	require.NoError(t, err)
	for _, p := range parts {
		require.NoError(t, p(s))
	}
	return b.Bytes()
}

func aDay(s *Sheet) error {
	return s.Add([]store.Sample{
		{Kind: store.ZoneMoisture, ID: "east", Points: points(autumn, 5*time.Minute, 300, 46_000)},
		{Kind: store.ZoneHalfWidth, ID: "east", Points: points(autumn, 5*time.Minute, 300, 1_310)},
		{Kind: store.ProbeMoisture, ID: "e1", Points: points(autumn, 10*time.Minute, 150, 45_125)},
		{Kind: store.ProbeEC, ID: "e1", Points: points(autumn, 10*time.Minute, 150, 1_850)},
	}, []store.Run{
		{ID: "r-1-1", Zone: "east", Valve: "east", Window: "ramp, early \"one\"", Opened: autumn.Add(3*time.Hour + 7*time.Second), Closed: autumn.Add(3*time.Hour + 97*time.Second),
			Why: zones.BelowThreshold, End: zones.ShotDone, Seconds: 90, Litres: 4.8000000001},
		{ID: "r-1-2", Zone: "-west", Valve: "w", Opened: autumn.Add(4 * time.Hour), Why: zones.ByHand},
	})
}

// rows reads a table by encoding/csv, and gives its cells by name.
func rows(t *testing.T, table []byte) (out []map[string]string) {
	r := csv.NewReader(bytes.NewReader(table))
	all, err := r.ReadAll() // refuses lines of unlike length
	require.NoError(t, err)
	for _, line := range all[1:] {
		row := map[string]string{}
		for i, cell := range line {
			row[all[0][i]] = cell
		}
		out = append(out, row)
	}
	return out
}

func TestATableOfANightWithTwoTwos(t *testing.T) {
	table := written(t, place(t, "Europe/Berlin"), aDay)
	require.Equal(t, strings.Count(string(table), "\n"), strings.Count(string(table), "\r\n"), "RFC 4180, section 2: lines end in CRLF")
	all := rows(t, table)
	require.Len(t, all, 300+150+2)
	seen, faces := map[string]bool{}, map[string]int{}
	last := time.Time{}
	for _, r := range all {
		at, err := time.Parse(time.RFC3339, r["time"])
		require.NoError(t, err)
		require.False(t, at.Before(last), "in order of time")
		last = at
		if r["record"] == "zone" {
			require.False(t, seen[r["time"]], "each time is there once: %s", r["time"])
			seen[r["time"]] = true
			faces[r["clock_Europe/Berlin"]]++
		}
	}
	require.Equal(t, 2, faces["2027-10-31 02:30:00"], "the clock shows it twice")
	require.True(t, seen["2027-10-31T02:30:00+02:00"] && seen["2027-10-31T02:30:00+01:00"])
	require.Equal(t, 1, faces["2027-10-31 03:00:00"])
	require.Equal(t, map[string]string{"time": "2027-10-31T00:00:00+02:00", "clock_Europe/Berlin": "2027-10-31 00:00:00", "record": "zone", "zone": "east", "probe": "",
		"moisture_percent": "46", "moisture_half_width_points": "1.31", "pore_ec_mS_per_cm_at_25_C": "", "bulk_ec_mS_per_cm": "", "temperature_C": "",
		"run": "", "valve": "", "window": "", "opened_because": "", "closed_time": "", "closed_because": "", "water_seconds": "", "litres": ""}, all[1])
	require.Equal(t, "45.125", all[0]["moisture_percent"])
	require.Equal(t, "1.85", all[0]["bulk_ec_mS_per_cm"])
}

func TestRunsInATable(t *testing.T) {
	var runs []map[string]string
	for _, r := range rows(t, written(t, place(t, "Europe/Berlin"), aDay)) {
		if r["record"] == "run" {
			runs = append(runs, r)
		}
	}
	require.Len(t, runs, 2)
	done, open := runs[0], runs[1]
	require.Equal(t, "2027-10-31T02:00:07+01:00", done["time"])
	require.Equal(t, "2027-10-31T02:01:37+01:00", done["closed_time"])
	require.Equal(t, []string{"90", "4.8", "below-threshold", "shot-done", `ramp, early "one"`},
		[]string{done["water_seconds"], done["litres"], done["opened_because"], done["closed_because"], done["window"]})
	require.Equal(t, []string{"", "", "", "'-west"}, []string{open["water_seconds"], open["litres"], open["closed_time"], open["zone"]}, "what is not known is empty; no name is a formula")
}

// A day in stretches is the day.
func TestStretchesJoin(t *testing.T) {
	whole := points(autumn, time.Minute, 120, 46_000)
	add := func(p []store.Point) func(*Sheet) error {
		return func(s *Sheet) error {
			return s.Add([]store.Sample{{Kind: store.ZoneMoisture, ID: "east", Points: p}}, nil)
		}
	}
	require.Equal(t, written(t, time.UTC, add(whole)), written(t, time.UTC, add(whole[:47]), add(nil), add(whole[47:])))
}

func TestEveryKindHasItsColumn(t *testing.T) {
	for k := store.ProbeMoisture; k <= store.ZonePoreEC; k++ {
		at, ok := column[k]
		require.True(t, ok, "kind %d", k)
		require.Positive(t, at)
	}
	require.NotContains(t, column, store.ZonePoreEC+1, "a new kind needs a column and a place in this test")
}

// Python's csv module reads it in its strict mode, as the dialect that spreadsheets write.
func TestPythonReadsIt(t *testing.T) {
	python, err := exec.LookPath("python3")
	if err != nil {
		if os.Getenv("RILLGATE_REQUIRE_TOOLS") == "1" {
			t.Fatal("python3 is required and not found in PATH")
		}
		t.Skip("python3 not found in PATH")
	}
	const program = `
import csv, sys, datetime
rows = list(csv.DictReader(open(sys.argv[1], newline='', encoding='utf-8'), dialect='excel', strict=True))
clock = [k for k in rows[0] if k.startswith('clock_')][0]
total = 0.0
for r in rows:
    assert None not in r and None not in r.values(), r
    at = datetime.datetime.fromisoformat(r['time'])
    face = datetime.datetime.strptime(r[clock], '%Y-%m-%d %H:%M:%S')
    assert at.replace(tzinfo=None) == face, r
    if r['moisture_percent']: total += float(r['moisture_percent'])
print(clock, len(rows), '%.2f' % total)
`
	path := t.TempDir() + "/table.csv"
	require.NoError(t, os.WriteFile(path, written(t, place(t, "Europe/Berlin"), aDay), 0o600))
	said, err := exec.Command(python, "-c", program, path).CombinedOutput()
	require.NoError(t, err, string(said))
	// 300 x 46 + 0.01 x (0+...+299) + 150 x 45.125 + 0.01 x (0+...+149) = 14248.5 + 6880.5
	require.Equal(t, "clock_Europe/Berlin 452 21129.00\n", string(said))
}
