package main

import (
	"encoding/json"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"

	days "rillgate/daemon/report"
)

// What is measured by hand is kept by the daemon, shown by report, why and journal, and
// still there when no daemon runs.
func TestWhatIsMeasuredByHandIsKept(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.start()
	zone := r.view()[0].ID
	ok := func(args ...string) string {
		t.Helper()
		code, out, errs := r.rillgate(args...)
		require.Zero(t, code, "%v: %s", args, errs)
		return out
	}
	fails := func(says string, args ...string) {
		t.Helper()
		code, _, errs := r.rillgate(args...)
		require.NotZero(t, code, "%v", args)
		require.Contains(t, errs, says)
	}
	require.Contains(t, ok("uniformity", zone, "--volumes", "47,42,45,24,13,26,33,34,27,30,40,44,32,12,12"), "49.6 %")
	fails("no zone is named nowhere", "uniformity", "nowhere", "--volumes", "1,2,3,4")
	fails("--feed-ec", "drain", zone, "--volume", "300mL", "--ec", "5 mS/cm", "--applied", "1.5L")
	fails("--applied", "drain", zone, "--volume", "300mL", "--ec", "5 mS/cm", "--feed-ec", "2 mS/cm")
	require.Contains(t, ok("drain", zone, "--volume", "300mL", "--ec", "5 mS/cm", "--applied", "1.5L", "--feed-ec", "2 mS/cm"), "20.0 %")
	require.Contains(t, ok("drain", zone, "--volume", "750mL", "--ec", "5000 uS/cm", "--applied", "1.5L"), "50.0 %", "the feed is remembered")
	shown := func() {
		t.Helper()
		require.Contains(t, ok("why", zone), "750 of 1500 mL drained, 50 %")
		require.Contains(t, ok("why", zone), "low quarter 50 %")
		require.Contains(t, ok("uniformity", zone), "69.1 %")
		require.Contains(t, ok("journal"), "drain: 750 of 1500 mL drained")
		require.Contains(t, ok("report", "--zone", zone), "300 of 1500 mL drained, 20 %")
		var got days.Report
		require.NoError(t, json.Unmarshal([]byte(ok("report", "--json")), &got))
		require.Len(t, got.Days, 1)
		require.Len(t, got.Days[0].Zones, 1)
		require.InDelta(t, 49.62039, got.Days[0].Zones[0].Uniformity.LowQuarter, 1e-4)
	}
	shown()
	file := filepath.Join(t.TempDir(), "day.html")
	require.Contains(t, ok("report", "--day", "yesterday", "--out", file), "days: 1")
	require.FileExists(t, file)
	fails("no zone is named nowhere", "report", "--zone", "nowhere")
	fails("write it like", "report", "--day", "soon")
	code, _ := r.stop(syscall.SIGTERM)
	require.Zero(t, code)
	shown()
	fails("no zone is named nowhere", "report", "--zone", "nowhere")
}
