package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestCheck(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	write := func(name, text string) {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600))
	}
	write("room.yaml", testRoom)
	write("schedule.yaml", testSchedule)
	write("gateway.yaml", strings.ReplaceAll(testGateway, "BROKER", "mqtt://127.0.0.1:1883"))
	code, out, errs := runProgram(t, "check", "--config", dir)
	require.Zero(t, code, errs)
	require.Contains(t, out, "warning")
	require.Contains(t, out, "the next seven days")
	code, out, _ = runProgram(t, "check", "--config", dir, "--explain", "east")
	require.Zero(t, code)
	require.Contains(t, out, "limits.max_run")
	code, _, errs = runProgram(t, "check", "--config", dir, "--explain", "west")
	require.Equal(t, 1, code)
	require.Contains(t, errs, "error: ")

	write("room.yaml", testRoom+"colour: green\n")
	code, out, errs = runProgram(t, "check", "--config", dir)
	require.Equal(t, 1, code)
	require.Contains(t, out, "room.yaml:21:1: ")
	require.Contains(t, errs, "error: ")
	code, out, _ = runProgram(t, "check", "--config", dir, "--json")
	require.Equal(t, 1, code)
	var c struct {
		OK       bool
		Problems []struct{ Line int }
	}
	require.NoError(t, json.Unmarshal([]byte(out), &c))
	require.False(t, c.OK)
}

// Every command of the outside contract is there; wrong use is 2, and what is not
// built yet says so.
func TestExitCodes(t *testing.T) {
	t.Parallel()
	nowhere := t.TempDir()
	for line, want := range map[string]struct {
		code int
		says string
	}{
		"":                             {2, "a command is due"},
		"dance":                        {2, "unknown command"},
		"demo --speed -1":              {2, "error: "},
		"demo now":                     {2, "error: "},
		"hold":                         {2, "error: "},
		"hold east --for soon":         {2, "no length of time"},
		"hold east --for 25h":          {2, "24h"},
		"ignore e1":                    {2, "for"},
		"shot a --for 1s --volume 1mL": {2, "error: "},
		"reset budget":                 {2, "needs a zone"},
		"replay":                       {2, "trace"},
		"schema LAMP":                  {2, "LAMP"},
		"clock":                        {2, "trust"},
		"zones --state " + nowhere:     {1, "no rillgate answers"},
		"stop --state " + nowhere:      {1, "no rillgate answers"},
		"apply --state " + nowhere:     {1, "no rillgate answers"},
		"backup x --state " + nowhere:  {1, "no rillgate answers"},
		"zones --config " + nowhere:    {1, "hint: "},
		"check --config " + nowhere:    {1, "error: "},
		"run --config " + nowhere:      {1, "error: "},
		"replay --config " + nowhere + " --trace x": {1, "error: "},
		"preview --days 0":                          {2, "1 to 92"},
		"preview --out x.pdf":                       {2, ".svg"},
		"preview --config " + nowhere:               {1, "error: "},
		"wiring --config " + nowhere:                {1, "error: "},
		"report --config " + nowhere:                {1, "hint: "},
		"report --out x.pdf --json":                 {2, "none of the others can be"},
		"report --day 2027-03-02 --week 2027-03-02": {2, "none of the others can be"},
		"drain east --volume 1L --ec 3.1":           {2, "a number with its unit"},
		"drain east --ec 3mS/cm":                    {2, "volume"},
		"drain east --volume 1L":                    {2, "--ec"},
		"uniformity east --volumes 1,2,3":           {2, "4 are due"},
		"uniformity east --volumes 1,2,x,4":         {2, "plain numbers"},
		"uniformity":                                {2, "error: "},
		"exchange":                                  {2, "error: "},
		"exchange e1 --state " + nowhere:            {1, "no rillgate answers"},
		"probes --find --watch":                     {2, "neither"},
		"probes --once":                             {2, "--find"},
		"probes --find --state " + nowhere:          {1, "no rillgate answers"},
		"label e1":                                  {2, "error: "},
		"soak east":                                 {2, "--volume 2L"},
		"soak east --volume 1L --over 25h":          {2, "24h"},
		"soak east --volume 1L --end":               {2, "none of the others can be"},
		"soak east --volume 1L --state " + nowhere:  {1, "no rillgate answers"},
		"walk --state " + nowhere:                   {1, "no rillgate answers"},
		"walk --close-times --state " + nowhere:     {2, "--yes"},
		"walk --accept east --state " + nowhere:     {2, "--note"},
		"walk --last --state " + nowhere:            {1, "error: "},
		"walk --accept '' --note x":                 {2, "takes one zone"},
		"walk ''":                                   {2, "an argument is empty"},
		"exchange e1 ''":                            {2, "an argument is empty"},
		"stop '' --state " + nowhere:                {1, "no rillgate answers"},
		"schema ROOM":                               {0, ""},
		"demo --help":                               {0, ""},
	} {
		args := strings.Fields(line)
		for i := range args {
			args[i] = strings.Trim(args[i], "'")
		}
		code, out, errs := runProgram(t, args...)
		require.Equal(t, want.code, code, "%q: %s%s", line, out, errs)
		require.Contains(t, errs, want.says, "%q", line)
	}
}

// The demonstration ends by itself; both benches get water in their window and
// nowhere else, and every run is closed.
func TestDemo(t *testing.T) {
	t.Parallel()
	code, out, errs := runProgram(t, "demo", "--for", "90m", "--speed", "1000000", "--page", "")
	require.Zero(t, code, errs)
	opened, closed := map[string]int{}, map[string]int{}
	for _, line := range strings.Split(out, "\n") {
		f := strings.Fields(line)
		if len(f) < 4 {
			continue
		}
		switch f[2] {
		case "run-opened":
			require.GreaterOrEqual(t, f[1], "07:00:00", line)
			require.Less(t, f[1], "10:00:00", line)
			opened[f[3]]++
		case "run-closed":
			require.Equal(t, "shot-done:", f[4], line)
			closed[f[3]]++
		}
	}
	require.Len(t, opened, 2, out)
	require.Equal(t, opened, closed)
	require.Contains(t, out, "DRY-BACK")
	code, again, _ := runProgram(t, "demo", "--for", "90m", "--speed", "1000000", "--page", "")
	require.Zero(t, code)
	require.Equal(t, table(out), table(again), "it is the same every time")
}

// table is the summary at the end.
func table(out string) string { return out[strings.LastIndex(out, "ZONE"):] }
