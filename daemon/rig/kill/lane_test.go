package kill

import (
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/configs"
	"rillgate/daemon/broker/realbroker"
	"rillgate/zones"
)

// Bounds of a wait: what takes longer is a fault.
const (
	firstOpening = 75 * time.Second // from a start: boot hold 15 s, a rest, a shot of the other zone
	endWithin    = 10 * time.Second
	bootHold     = 15 * time.Second
)

// lane is one room: its broker, its controllers, its state on disk, and the daemon
// when it lives.
type lane struct {
	t       testing.TB
	rng     *rand.Rand
	program string
	dir     string
	config  string
	state   string
	room    string
	broker  *realbroker.Broker
	tape    *tape
	judge   *judge
	count   *counts
}

// newLane makes a room of which nothing is remembered.
func newLane(t testing.TB, n int, program string, count *counts) *lane {
	t.Helper()
	l := &lane{t: t, rng: rand.New(rand.NewPCG(*seed, uint64(n))), program: program, dir: t.TempDir(), room: "bay-" + strconv.Itoa(n), count: count}
	l.config, l.state = filepath.Join(l.dir, "config"), filepath.Join(l.dir, "state")
	l.broker = realbroker.Start(t, realbroker.Options{})
	l.configure(l.config, l.broker.URL())
	loaded, problems := configs.Load(l.config)
	require.NotNil(t, loaded, "%v", problems)
	l.judge = newJudge(loaded.Plan)
	l.tape = startField(t, l.config, l.broker.URL())
	return l
}

func (l *lane) configure(dir, broker string) {
	l.t.Helper()
	require.NoError(l.t, os.Mkdir(dir, 0o750))
	for name, text := range map[string]string{
		"room.yaml":     strings.ReplaceAll(roomText, "ROOM", l.room),
		"schedule.yaml": scheduleText,
		"gateway.yaml":  strings.ReplaceAll(gatewayText, "BROKER", broker),
	} {
		require.NoError(l.t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o640))
	}
}

// life is one process of the daemon.
type life struct {
	lane  *lane
	cmd   *exec.Cmd
	began time.Time
	from  int           // place on the tape at which it began
	ended chan struct{} // closed when the process is gone
	log   string
}

// start runs the daemon, under strace where the cut asks for it.
func (l *lane) start(under []string) *life {
	l.t.Helper()
	args := append(append([]string{}, under...), l.program, "run", "--config", l.config, "--state", l.state)
	return l.launch(exec.Command(args[0], args[1:]...))
}

func (l *lane) launch(cmd *exec.Cmd) *life {
	l.t.Helper()
	v := &life{lane: l, cmd: cmd, ended: make(chan struct{}), log: filepath.Join(l.dir, "said")}
	said, err := os.Create(v.log)
	require.NoError(l.t, err)
	defer said.Close()
	v.cmd.Stdout, v.cmd.Stderr = said, said
	v.from, v.began = l.tape.length(), time.Now().Round(0)
	require.NoError(l.t, v.cmd.Start())
	go func() {
		_ = v.cmd.Wait() // how it ended is in ProcessState
		close(v.ended)
	}()
	l.t.Cleanup(v.kill)
	return v
}

func (v *life) signal(s syscall.Signal) { _ = v.cmd.Process.Signal(s) } // it may be gone: then its end says why

// kill ends the process, if it lives, and waits for its end.
func (v *life) kill() {
	v.signal(syscall.SIGKILL)
	<-v.ended
}

// over reports whether the process has ended.
func (v *life) over() bool {
	select {
	case <-v.ended:
		return true
	default:
		return false
	}
}

// pause waits, or until the process is gone.
func (v *life) pause(d time.Duration) {
	select {
	case <-after(d):
	case <-v.ended:
	}
}

// wasKilled is an error when the process did not end by SIGKILL.
func (v *life) wasKilled() error {
	status, ok := v.cmd.ProcessState.Sys().(syscall.WaitStatus)
	if ok && status.Signaled() && status.Signal() == syscall.SIGKILL {
		return nil
	}
	if ok && status.Signaled() && status.Signal() == syscall.SIGALRM && filepath.Base(v.cmd.Path) == "strace" {
		return nil // strace's own timer ended it, and the daemon with it
	}
	return fmt.Errorf("the daemon ended by itself (%s): %s", v.cmd.ProcessState, v.said())
}

// said is the end of what the daemon logged.
func (v *life) said() string {
	text, err := os.ReadFile(v.log)
	if err != nil {
		return err.Error()
	}
	return string(text[max(0, len(text)-3000):])
}

// opening waits for the first opening of this life.
func (v *life) opening() (*line, int, error) {
	l, next := v.lane.tape.await(v.from, opens, v.ended, after(firstOpening))
	if l == nil && !v.over() {
		return nil, next, fmt.Errorf("no opening in %s: %s", firstOpening, v.said())
	}
	if l != nil {
		v.lane.count.opened(l.At.Sub(v.began))
	}
	return l, next, nil
}

// operate resets the crash loop's latch, as an operator would who sees the alarm, for
// as long as the process lives.
func (v *life) operate() error {
	raised := func(l *line) bool { return strings.Contains(l.Alarms, string(zones.CrashLoop)) }
	if l, _ := v.lane.tape.await(v.from, raised, v.ended); l == nil {
		return nil
	}
	order := &zones.Order{ID: v.began.String(), Kind: zones.OrderReset, Subject: "room"}
	v.lane.judge.ordered(time.Now().Round(0), order)
	out, err := exec.Command(program, "reset", "--config", v.lane.config, "--state", v.lane.state).CombinedOutput()
	switch {
	case err == nil:
		v.lane.judge.answered(time.Now().Round(0), order)
		v.lane.count.add("resets of the crash loop's latch")
		return nil
	}
	select { // asked of a daemon that was dying
	case <-v.ended:
		return nil
	case <-after(2 * time.Second):
	}
	return fmt.Errorf("reset the crash loop's latch: %w: %s", err, out)
}
