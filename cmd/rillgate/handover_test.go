package main

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"

	"rillgate/configs"
)

func readText(t *testing.T, path string) string {
	t.Helper()
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	return string(text)
}

// The hand-over of a running room, of one that does not run, and of files alone; each says
// what it is made of.
func TestHandoverRunningAndNot(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.start()
	zone := r.view()[0].ID
	out := filepath.Join(t.TempDir(), "h.html")
	ok := func(args ...string) (said string) {
		t.Helper()
		code, _, errs := r.rillgate(append([]string{"handover", "--out", out}, args...)...)
		require.Zero(t, code, errs)
		return errs
	}
	code, _, errs := r.rillgate("uniformity", zone, "--volumes", "40,40,40,20")
	require.Zero(t, code, errs)
	require.Empty(t, ok(), "nothing is to be said of a room that runs by its files")
	running := readText(t, out)
	for _, want := range []string{"low quarter 57 %", "Not walked.", "From the schedule"} {
		require.Contains(t, running, want)
	}
	const unknown = "<td data-name=\"Quality\">-</td>"
	require.NotContains(t, running, unknown)
	code, _ = r.stop(syscall.SIGTERM)
	require.Zero(t, code)
	require.Contains(t, ok(), "No daemon runs; as last recorded at ")
	stopped := readText(t, out)
	require.Contains(t, stopped, "No daemon runs; as last recorded at ")
	require.Contains(t, stopped, "low quarter 57 %")
	require.Contains(t, stopped, unknown)
	require.Contains(t, ok("--card"), "No daemon runs")
	require.NotContains(t, readText(t, out), "Who to ask")
	for want, where := range map[string][2]string{
		"are not the plan that was in force last": {writeRoom(t, configs.ExampleDemo, nil), r.state},
		"of a room that has not run":              {r.config, t.TempDir()},
	} {
		code, _, errs := runProgram(t, "handover", "--out", out, "--config", where[0], "--state", where[1])
		require.Zero(t, code, errs)
		require.Contains(t, errs, want)
	}
}

func TestHandoverRefuses(t *testing.T) {
	t.Parallel()
	dir := writeRoom(t, configs.ExampleBay, nil)
	state := filepath.Join(dir, "state")
	for want, args := range map[string][]string{
		"ends in .html":    {"--out", "h.pdf"},
		`not ""`:           {},
		"write the hand-o": {"--out", filepath.Join(dir, "nowhere", "h.html")},
	} {
		code, _, errs := runProgram(t, append([]string{"handover", "--config", dir, "--state", state}, args...)...)
		require.NotZero(t, code)
		require.Contains(t, errs, want)
	}
	code, _, errs := runProgram(t, "handover", "--config", filepath.Join(dir, "none"), "--state", state, "--out", filepath.Join(dir, "h.html"))
	require.Equal(t, 1, code)
	require.Contains(t, errs, "the file is missing")
	require.NoDirExists(t, state)
}
