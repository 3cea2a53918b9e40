package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A wrong line of a trace is told where it stands, with what would be right.
func TestReplayTellsWhere(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	for name, text := range map[string]string{"room.yaml": testRoom, "schedule.yaml": testSchedule,
		"gateway.yaml": strings.ReplaceAll(testGateway, "BROKER", "mqtt://127.0.0.1:1883")} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600))
	}
	file := filepath.Join(dir, "bad.jsonl")
	for line, want := range map[string]string{
		`not json`: "error: " + file + ":2:1: want '{', have 'n'\nhint: ",
		`{"at":"2027-03-01T06:00:01Z","order":{"kind":"flood"}}`:            "error: " + file + `:2:46: "flood" is no kind of order` + "\nhint: ",
		`{"at":"2027-03-01T06:00:01Z","report":{"valve":"x","open":true}}`:  "error: " + file + ":2:1: ",
		`{"at":"2027-03-01T06:00:01Z","order":{"kind":"hold","at":"noon"}}`: "error: " + file + `:2:53: unknown key "at"` + "\nhint: ",
	} {
		require.NoError(t, os.WriteFile(file, []byte(`{"at":"2027-03-01T06:00:00Z","broker":{"up":true}}`+"\n"+line+"\n"), 0o600))
		code, _, errs := runProgram(t, "replay", "--config", dir, "--trace", file)
		require.Equal(t, 1, code, line)
		require.Contains(t, errs, want, line)
	}
	require.NoError(t, os.WriteFile(file, []byte(`{"at":"2027-03-01T06:00:00Z","order":{"kind":"walk"}}`+"\n"), 0o600))
	code, out, errs := runProgram(t, "replay", "--config", dir, "--trace", file)
	require.Zero(t, code, errs)
	require.Contains(t, out, "a walk begins: windows wait")
}
