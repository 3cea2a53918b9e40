package kill

import (
	"fmt"
	"os"
	"os/exec"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// needStrace skips a test without strace, or fails when tools are required.
func needStrace(t *testing.T) {
	t.Helper()
	if _, err := exec.LookPath("strace"); err == nil {
		return
	}
	if os.Getenv("RILLGATE_REQUIRE_TOOLS") == "1" {
		require.FailNow(t, "strace is missing", "install it, or leave RILLGATE_REQUIRE_TOOLS unset to skip")
	}
	t.Skip("strace is not installed")
}

// shortCuts are the cycles that run always: one list a lane.
var shortCuts = [][]cut{
	{{way: slowDisk}},
	{{way: shotCall, call: call{name: "pwrite64", paths: ledgerFiles, nth: 1}}},
	{{way: bootCall, call: call{name: "fdatasync", paths: ledgerFiles, nth: 1}}, {way: inStart, after: 2 * time.Second, second: true}, {way: atOpening}},
}

// TestKill ends lives of the daemon by SIGKILL. A short form runs always; -kill.cycles
// asks for more, over -kill.lanes.
func TestKill(t *testing.T) {
	t.Parallel()
	needStrace(t)
	count := newCounts()
	t.Run("lanes", func(t *testing.T) {
		if *cycles == 0 {
			for i, cuts := range shortCuts {
				t.Run(fmt.Sprintf("lane %d", i+1), func(t *testing.T) {
					t.Parallel()
					short(t, newLane(t, i+1, program, count), cuts)
				})
			}
			return
		}
		var next atomic.Int64
		for i := range min(*lanes, *cycles) {
			t.Run(fmt.Sprintf("lane %d", i+1), func(t *testing.T) {
				t.Parallel()
				l := newLane(t, i+1, program, count)
				for own := 1; int(next.Add(1)) <= *cycles && !t.Failed(); own++ {
					// each lane begins at another place of the rule of tenths and sevenths
					require.NoError(t, l.cycle(draw(l.rng, own+i*17)))
					if n := count.done(); n%1000 == 0 {
						t.Log(count)
					}
				}
				l.rest(t)
			})
		}
	})
	t.Log(count)
}

func short(t *testing.T, l *lane, cuts []cut) {
	for _, c := range cuts {
		require.NoError(t, l.cycle(c))
	}
	l.rest(t)
}

// rest ends a lane: after all its deaths the daemon starts once more, and ends as it
// should on SIGTERM; nothing is open.
func (l *lane) rest(t *testing.T) {
	v := l.start(nil)
	l.judge.began(v.began)
	v.pause(2 * time.Second)
	v.signal(syscall.SIGTERM)
	select {
	case <-v.ended:
	case <-after(endWithin):
		require.FailNow(t, "the daemon does not end on SIGTERM", v.said())
	}
	require.Zero(t, v.cmd.ProcessState.ExitCode(), v.said())
	died := time.Now().Round(0)
	past := func(s *line) bool { return s.At.After(died) }
	s, _ := l.tape.await(v.from, past, after(endWithin))
	require.NotNil(t, s)
	require.NoError(t, l.judge.died(l.tape.take(), l.state))
	require.Empty(t, l.judge.since, "a contact is on after SIGTERM")
}
