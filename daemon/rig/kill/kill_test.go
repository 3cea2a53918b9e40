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

// TestKill ends lives of the daemon by SIGKILL. A short form with one cycle of a few
// lanes runs always; -kill.cycles asks for more.
func TestKill(t *testing.T) {
	needStrace(t)
	count := newCounts()
	n, most := min(*lanes, max(*cycles, 1)), *cycles
	if most == 0 {
		n, most = 3, 3
	}
	var next atomic.Int64
	t.Run("lanes", func(t *testing.T) {
		for i := range n {
			t.Run(fmt.Sprintf("lane %d", i+1), func(t *testing.T) {
				t.Parallel()
				l := newLane(t, i+1, program, count)
				for own := 1; int(next.Add(1)) <= most && !t.Failed(); own++ {
					// each lane begins at another place of the rule of tenths and sevenths
					require.NoError(t, l.cycle(own+i*17))
				}
				l.rest(t)
			})
		}
	})
	t.Log(count)
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
