package main

import (
	"encoding/json"
	"flag"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones/walk"
)

// What is said of walks before the first one, after a person's word, beside a walk that was
// broken off, under files that wire the zone otherwise, and without a daemon: each time
// the same by `walk --last`, `check` and the hand-over.
func TestWhatIsSaidOfWalks(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	code, out, errs := r.rillgate("check")
	require.Zero(t, code, errs)
	require.NotContains(t, out, "not walked", "there is no store that could know")
	r.write("room.yaml", strings.Replace(testRoom, "time_zone: UTC", "time_zone: Etc/GMT-14", 1))
	r.start()
	says := func(exit int, command string, want ...string) string {
		t.Helper()
		code, out, errs := r.rillgate(strings.Fields(command)...)
		require.Equal(t, exit, code, "%s: %s%s", command, out, errs)
		for _, w := range want {
			require.Contains(t, out+errs, w, command)
		}
		return out
	}
	const never = "east: no walk has shown that east is wired as the files say"
	says(1, "walk --last", "no walk is kept")
	says(0, "check", "not walked as these files wire them:\n  "+never)
	says(0, "walk --accept east --note seen", "east counts as walked as it is wired now")
	says(0, "walk --last", "zone east: counts as walked by the word of ", ": seen")

	here := time.FixedZone("", 14*3600)
	for _, line := range r.brokenWalk(t) {
		clock, err := time.ParseInLocation("15:04:05", line[:8], here)
		require.NoError(t, err, line)
		now := time.Now().In(here)
		since := time.Duration(now.Hour()-clock.Hour())*time.Hour + time.Duration(now.Minute()-clock.Minute())*time.Minute
		require.Contains(t, []int{0, 1, 24*60 - 1, -24*60 + 1}, int(since.Abs().Minutes()), "at the room's time: %s", line)
	}
	says(0, "walk --last east", "partial: it was broken off at its terminal", "not-walked", "zone east: counts as walked by the word of ")
	says(1, "walk --last west", `no zone "west"`)
	var l walk.Last
	require.NoError(t, json.Unmarshal([]byte(says(0, "walk --last --json")), &l))
	require.True(t, l.Walk.Partial)
	require.Equal(t, "seen", l.Zones[0].Accepted.Note)
	require.NotContains(t, says(0, "check"), "not walked")

	const otherwise = "the wiring of east has changed since its walk of "
	room := strings.Replace(testRoom, "output: 1", "output: 2", 1)
	r.write("room.yaml", strings.Replace(room, "time_zone: UTC", "time_zone: Etc/GMT-14", 1))
	says(0, "check", otherwise)
	says(0, "check --json", `"not_walked"`, otherwise)
	says(0, "apply")
	says(1, "walk --last", "zone east: not walked: "+otherwise)
	says(0, "check", otherwise)
	file := filepath.Join(t.TempDir(), "h.html")
	says(0, "handover --out "+file)
	running := readText(t, file)
	require.Contains(t, running, otherwise)
	code, _ = r.stop(syscall.SIGTERM)
	require.Zero(t, code)
	says(1, "walk --last", "zone east: not walked: "+otherwise)
	says(0, "check", otherwise)
	says(0, "handover --out "+file)
	require.Contains(t, readText(t, file), otherwise)
}

// brokenWalk begins a walk, breaks it off as Ctrl-C does, and gives what it said with a time.
func (r *rig) brokenWalk(t *testing.T) (timed []string) {
	t.Helper()
	cmd, shown := exec.Command(program, "walk", "--config", r.config, "--state", r.state), &syncBuffer{}
	cmd.Stdout, cmd.Stderr = shown, shown
	require.NoError(t, cmd.Start())
	require.Eventually(t, func() bool { return strings.Contains(shown.String(), "Ctrl-C ends it") }, 10*time.Second, 10*time.Millisecond)
	require.NoError(t, cmd.Process.Signal(syscall.SIGINT))
	require.Error(t, cmd.Wait(), "what is partial is not as configured")
	require.Contains(t, shown.String(), "broken off; what was found so far:")
	require.Contains(t, shown.String(), "zone east: not walked this time: ")
	for _, line := range strings.Split(shown.String(), "\n") {
		if len(line) > 8 && line[2] == ':' && line[5] == ':' {
			timed = append(timed, line)
		}
	}
	require.NotEmpty(t, timed)
	return timed
}

var walkLive = flag.Bool("walk.live", false, "walk one valve of a simulated room over a real broker, in real time: half an hour")

// The whole way in real time: broker, daemon, simulated room, terminal. The beds rest, one
// valve opens, its probes rise, and the room, the store and the terminal say the same.
func TestWalkInRealTime(t *testing.T) {
	if !*walkLive {
		t.Skip("it takes half an hour: -walk.live")
	}
	r := newRig(t)
	r.write("schedule.yaml", "day: {lights_on: \"06:00\", lights_off: \"18:00\"}\nzones: {east: none}\n")
	r.start()
	r.room()
	require.Eventually(t, func() bool { return r.view()[0].Counting == 2 }, time.Minute, 100*time.Millisecond)
	code, out, errs := r.rillgate("walk", "--note", "in real time")
	t.Log(out)
	require.Zero(t, code, out+errs)
	require.Contains(t, out, "zone east: walked, as configured")
	require.Empty(t, r.view()[0].NotWalked)
	code, out, errs = r.rillgate("walk", "--last")
	require.Zero(t, code, errs)
	require.Contains(t, out, "2 of 2 probes of east rose, no other did")
	require.Contains(t, out, "zone east: walked, as configured, ")
}
