//go:build linux && amd64

package wallclock

import (
	"flag"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"rillgate/zones/zonetest/overlay"
)

var planted = flag.Bool("wallclock.planted", false, "show that the rig catches planted faults: a minute, mostly waiting")

// faultyVariable names the program that the tests run instead of the right one.
const faultyVariable = "RILLGATE_CLOCK_PROGRAM"

// TestPlantedFaultsAreCaught builds the program with one fault at a time. The test that
// is named, run as it stands, must refuse it and say what is wrong.
func TestPlantedFaultsAreCaught(t *testing.T) {
	if !*planted {
		t.Skip("a minute: -wallclock.planted")
	}
	root, err := filepath.Abs("../../..")
	require.NoError(t, err)
	b := &overlay.Builder{Root: root, Dir: t.TempDir()}
	for _, f := range []struct {
		name, test, says string
		edit             overlay.Edit
	}{
		{"the time since the start is made of the time of day", "TestStepsInAShot/1h0m0s", "the rest is over", overlay.Edit{File: "daemon/clock.go",
			Old: "	return together(func() time.Time { return time.Now().Round(0) }, sinceBoot)\n", New: "	wall := time.Now().Round(0)\n	return wall, time.Duration(wall.UnixNano())\n"}},
		{"any date is believed", "TestBootIn1970", `expected: "clock-unsure"`, overlay.Edit{File: "daemon/trust.go",
			Old: "if wall.Before(t.floor) {", New: "if wall.Before(time.Time{}) {"}},
		{"a step of the clock makes a window begin anew", "TestOncePerInstanceOverARestart", "it opened", overlay.Edit{File: "zones/room.go",
			Old: "now.Trusted != r.now.Trusted {\n", New: "now.Trusted != r.now.Trusted {\n		for _, z := range r.zones {\n			z.mem.Progress = schedule.Progress{}\n		}\n"}},
	} {
		t.Run(f.name, func(t *testing.T) {
			binary, err := b.Program(t.Context(), "cmd/rillgate", f.edit) // one after the other
			require.NoError(t, err)
			t.Parallel()
			o, err := overlay.Again(t.Context(), f.test, []string{faultyVariable + "=" + binary}, "-wallclock.all")
			require.NoError(t, err)
			require.False(t, o.Passed, "the rig let it pass: %s", o.Output)
			require.Contains(t, o.Output, f.says)
			t.Logf("%s after %s", f.test, o.Took.Round(1e9))
		})
	}
}
