package kill

import (
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

func itoa(n int) string { return strconv.Itoa(n) }

// TestCrashLoop: six unclean ends within ten minutes latch the room at the start that
// follows. Nothing opens, over another restart too, until an operator resets it.
func TestCrashLoop(t *testing.T) {
	if *cycles == 0 {
		t.Skip("it takes a minute: -kill.cycles")
	}
	t.Parallel()
	l := newLane(t, 400, program, newCounts())
	for n := range 6 {
		v := l.start(nil)
		v.awaitStart(t)
		v.kill()
		require.NoError(t, v.wasKilled())
		require.Nil(t, alarm(l, v.from, zones.CrashLoop), "latched after %d unclean ends", n)
	}
	for range 2 {
		v := l.start(nil)
		s, _ := l.tape.await(v.from, raised(zones.CrashLoop), after(endWithin))
		require.NotNil(t, s, "not latched")
		s, _ = l.tape.await(v.from, opens, after(bootHold+7*time.Second))
		require.Nil(t, s, "it opens under the latch")
		v.kill()
	}
	v := l.start(nil)
	s, _ := l.tape.await(v.from, raised(zones.CrashLoop), after(endWithin))
	require.NotNil(t, s)
	out, err := exec.Command(program, "reset", "--config", l.config, "--state", l.state, "--note", "found the loose plug").CombinedOutput()
	require.NoError(t, err, string(out))
	_, _, err = v.opening()
	require.NoError(t, err, "water comes back after the reset")
}

func raised(code zones.Reason) func(*line) bool {
	return func(l *line) bool { return strings.Contains(l.Alarms, `"`+string(code)+`"`) }
}

// alarm gives the first line of a list of alarms that holds a code, of those that came.
func alarm(l *lane, from int, code zones.Reason) *line {
	s, _ := l.tape.await(from, raised(code), after(0))
	return s
}

// awaitStart waits until the daemon has begun for certain: its start is on disk, since
// it commands.
func (v *life) awaitStart(t *testing.T) {
	t.Helper()
	s, _ := v.lane.tape.await(v.from, func(l *line) bool { return l.Command != nil }, v.ended, after(endWithin))
	require.NotNil(t, s, v.said())
}

// TestTwoBoxes: a second gateway with a state of its own comes to the same broker. One
// of the two latches, no two valves are ever open at once, and the latched one opens
// nothing until it is reset.
func TestTwoBoxes(t *testing.T) {
	if *cycles == 0 {
		t.Skip("it takes a minute: -kill.cycles")
	}
	t.Parallel()
	l := newLane(t, 401, program, newCounts())
	first := l.start(nil)
	_, _, err := first.opening()
	require.NoError(t, err)
	other := *l
	other.state, other.dir = filepath.Join(l.dir, "other-state"), t.TempDir()
	from := l.tape.length()
	second := other.start(nil)
	s, at := l.tape.await(from, raised(zones.SecondGateway), after(60*time.Second))
	require.NotNil(t, s, "nobody latched: %s %s", first.said(), second.said())
	_, _ = l.tape.await(at, func(*line) bool { return false }, after(40*time.Second))
	first.kill()
	second.kill()
	open := map[zones.Output]bool{}
	epochs := map[uint32]bool{} // that opened after the latch
	for i, s := range l.tape.take() {
		if s.Event == "contact" {
			open[s.Output] = s.Open
			require.False(t, open[zones.Output{Controller: "north", Number: 1}] && open[zones.Output{Controller: "north", Number: 2}], "two valves at once")
		}
		if i > at+5 && opens(&s) {
			epochs[s.Command.Epoch] = true
		}
	}
	require.LessOrEqual(t, len(epochs), 1, "both boxes open valves after the latch: epochs %v", epochs)
}

// TestStopRightAfterACrash: a daemon that is told to end before it has heard of any
// controller tells the valves first, since the life before it may have left one open.
func TestStopRightAfterACrash(t *testing.T) {
	t.Parallel()
	l := newLane(t, 402, program, newCounts())
	v := l.start(nil)
	_, _, err := v.opening()
	require.NoError(t, err)
	v.kill()
	died := time.Now()
	v = l.start(nil)
	v.awaitSocket(t)
	v.signal(syscall.SIGTERM)
	select {
	case <-v.ended:
	case <-after(endWithin):
		require.FailNow(t, "the daemon does not end on SIGTERM", v.said())
	}
	require.Zero(t, v.cmd.ProcessState.ExitCode(), v.said())
	s, _ := l.tape.await(v.from, func(l *line) bool { return l.Event == "contact" && !l.Open }, after(endWithin))
	require.NotNil(t, s)
	require.Less(t, s.At.Sub(died), 8*time.Second, "it was the lease of 10 s that closed the valve")
}
