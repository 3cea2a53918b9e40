package daemon

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TestClocksAreReadTogether: a process that is stopped between two readings of its clocks
// reads them again.
func TestClocksAreReadTogether(t *testing.T) {
	start := time.Date(2027, 3, 1, 6, 0, 0, 0, time.UTC)
	var passed time.Duration
	wall := func() time.Time { return start.Add(passed) }
	for stop := 0; stop < 4; stop++ { // before the reading of this number it stands still
		n := 0
		mono := func() time.Duration {
			if n++; n == stop {
				passed += 4500 * time.Millisecond
			}
			return time.Hour + passed
		}
		first := true
		w, m := together(func() time.Time {
			if first && stop == 0 {
				passed += 4500 * time.Millisecond
			}
			first = false
			return wall()
		}, mono)
		require.Equal(t, w.Sub(start), m-time.Hour, "a stop at %d looks like a step", stop)
	}
}

// TestABusyMachineStillTellsTheTime: where every reading takes long the last one counts.
func TestABusyMachineStillTellsTheTime(t *testing.T) {
	var m time.Duration
	_, got := together(func() time.Time { return time.Time{} }, func() time.Duration { m += time.Second; return m })
	require.Equal(t, m, got)
	require.Equal(t, 2*readings*time.Second, m)
}
