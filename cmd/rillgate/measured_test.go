package main

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	days "rillgate/daemon/report"
)

func TestVolumesOfACatchTest(t *testing.T) {
	got, err := readVolumes(&catchFlags{volumes: "47, 42,45 24"})
	require.NoError(t, err)
	require.Equal(t, []float64{47, 42, 45, 24}, got)

	file := filepath.Join(t.TempDir(), "volumes.txt")
	require.NoError(t, os.WriteFile(file, []byte("# bench, from the tap on\n47\n42.5 # leaks\r\n\n0\n"), 0o600))
	got, err = readVolumes(&catchFlags{file: file})
	require.NoError(t, err)
	require.Equal(t, []float64{47, 42.5, 0}, got)

	_, err = readVolumes(&catchFlags{volumes: "47,42mL"})
	require.ErrorContains(t, err, "plain numbers are due")
	_, err = readVolumes(&catchFlags{file: file + "x"})
	require.ErrorContains(t, err, "read volumes")
}

func TestWhatWasMeasuredOfADrain(t *testing.T) {
	cmd := newDrain(&flags{})
	for _, c := range []struct {
		flags  drainFlags
		ml, ec float64
	}{
		{drainFlags{volume: "1.2L", ec: "3.1 mS/cm", plants: 4}, 1200, 3.1},
		{drainFlags{volume: "300 mL", ec: "3100 µS/cm", plants: 1}, 300, 3.1},
		{drainFlags{volume: "0", plants: 1}, 0, 0},
		{drainFlags{volume: "0 mL", plants: 1}, 0, 0},
	} {
		var d days.Drain
		require.NoError(t, c.flags.measured(cmd, &d), c.flags.volume)
		require.InDelta(t, c.ml, d.DrainML, 1e-9)
		require.InDelta(t, c.ec, d.Out, 1e-9)
	}
	for want, f := range map[string]drainFlags{
		"a number with its unit": {volume: "1L", ec: "3.1", plants: 1},
		"is due":                 {volume: "1L", plants: 1},
		"no volume":              {volume: "1.2", ec: "3 mS/cm", plants: 1},
		"one plant at least":     {volume: "1L", ec: "3 mS/cm"},
	} {
		require.ErrorContains(t, f.measured(cmd, &days.Drain{}), want)
	}
}

func TestTheFeedIsRemembered(t *testing.T) {
	ec, err := (&drainFlags{}).feedEC(&days.Drain{In: 2.2})
	require.NoError(t, err)
	require.InDelta(t, 2.2, ec, 1e-9)
	ec, err = (&drainFlags{feed: "1.9 mS/cm"}).feedEC(&days.Drain{In: 2.2})
	require.NoError(t, err)
	require.InDelta(t, 1.9, ec, 1e-9)
	_, err = (&drainFlags{}).feedEC(nil)
	require.ErrorContains(t, err, "--feed-ec")
}

// Only runs that opened after the last sample count.
func TestWhatWasGivenSince(t *testing.T) {
	at := time.Date(2027, 3, 2, 12, 0, 0, 0, time.UTC)
	run := func(after time.Duration, litres float64) days.Run {
		end := at.Add(after + 2*time.Minute)
		return days.Run{Opened: at.Add(after), Closed: &end, Litres: litres}
	}
	r := &days.Report{Days: []days.Day{
		{Zones: []days.ZoneDay{{Plants: 20, Runs: []days.Run{run(-time.Hour, 8), run(time.Hour, 1)}}}},
		{Zones: []days.ZoneDay{{Plants: 20, Runs: []days.Run{run(20*time.Hour, 2)}}}},
	}}
	litres, plants, end := givenSince(r, at)
	require.InDelta(t, 3, litres, 1e-9)
	require.Equal(t, 20, plants)
	require.Equal(t, at.Add(20*time.Hour+2*time.Minute), end)
	litres, _, _ = givenSince(r, at.Add(-2*time.Hour))
	require.InDelta(t, 11, litres, 1e-9)
}
