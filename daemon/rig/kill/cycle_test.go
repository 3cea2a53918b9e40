package kill

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// cycle is one life from its start to its end by SIGKILL, and the judgement on it.
func (l *lane) cycle(c cut) error {
	trace := filepath.Join(l.dir, "strace")
	_ = os.Remove(trace)
	v := l.start(c.under(l.state, trace))
	l.judge.began(v.began)
	asked := make(chan error, 1)
	go func() { asked <- v.operate() }()
	err := v.live(c, trace)
	v.kill()
	err = errors.Join(err, <-asked)
	l.count.died(c, where(trace), v)
	if err = errors.Join(err, l.bury(v)); err != nil {
		return fmt.Errorf("%s, %+v: %w; the daemon said: %s\n%s", l.room, c, err, v.said(), &l.judge.tale)
	}
	return nil
}

// bury ends a life, if it has not ended, and judges what it left.
func (l *lane) bury(v *life) error {
	v.kill()
	died := time.Now().Round(0)
	past := func(s *line) bool { return s.At.After(died) }
	if s, _ := l.tape.await(v.from, past, after(endWithin)); s == nil {
		return errors.Join(v.wasKilled(), fmt.Errorf("the controller process is silent for %s", endWithin))
	}
	return errors.Join(v.wasKilled(), l.judge.died(l.tape.take(), l.state))
}

// under is what the daemon is started with.
func (c *cut) under(state, trace string) []string {
	switch c.way {
	case bootCall:
		return append([]string{"strace", "-D"}, c.call.arguments(state, trace)...)
	case slowDisk:
		return append([]string{"strace"}, slowArguments(state, trace)...)
	}
	return nil
}

// live lets a life run to the moment of its cut.
func (v *life) live(c cut, trace string) error {
	second := make(chan error, 1)
	if c.second {
		wait := randomly(v.lane.rng, bootHold+2*time.Second)
		go func() { second <- v.second(wait) }()
	} else {
		second <- nil
	}
	return errors.Join(v.run(c, trace), <-second)
}

func (v *life) run(c cut, trace string) error {
	switch c.way {
	case inStart:
		v.pause(c.after)
		return nil
	case bootCall:
		v.pause(bootHold + 10*time.Second) // a call that is not made so often: the end is by hand
		return nil
	case shotCall:
		return v.atCall(c, trace)
	}
	_, next, err := v.opening()
	if err != nil {
		return err
	}
	switch {
	case c.stop > 0:
		v.pause(randomly(v.lane.rng, 8*time.Second))
		from := time.Now().Round(0)
		v.signal(syscall.SIGSTOP)
		v.pause(c.stop)
		v.lane.judge.stopped(from, time.Now().Round(0))
		v.signal(syscall.SIGCONT)
		v.lane.count.add("stopped for seconds")
	case c.broker > 0:
		v.pause(randomly(v.lane.rng, 3*time.Second))
		v.lane.broker.Kill()
		v.pause(c.broker)
		v.lane.broker.Restart()
		v.lane.count.add("brokers killed")
	case c.way == atClose:
		v.lane.tape.await(next, closes, v.ended, after(30*time.Second))
	}
	v.pause(c.after)
	return nil
}

// atCall attaches strace shortly before the first opening can be, so that the calls it
// counts are those of a shot.
func (v *life) atCall(c cut, trace string) error {
	v.pause(bootHold - 400*time.Millisecond + c.after)
	if v.over() {
		return nil
	}
	args := append(c.call.arguments(v.lane.state, trace), "-p", strconv.Itoa(v.cmd.Process.Pid))
	tracer := exec.Command("strace", args...)
	if err := tracer.Start(); err != nil {
		return fmt.Errorf("attach strace: %w", err)
	}
	_, _, err := v.opening()
	v.pause(6 * time.Second) // the commit of the journal comes 2 s after an opening
	v.kill()
	_ = tracer.Wait() // it ends with the process
	return err
}

// answers waits until the daemon has its state and answers at its socket: a second one
// that begins before has as good a right to it. It is false when the daemon is gone.
func (v *life) answers() bool {
	for !v.over() {
		if conn, err := net.Dial("unix", filepath.Join(v.lane.state, "control.sock")); err == nil {
			return conn.Close() == nil
		}
		v.pause(50 * time.Millisecond)
	}
	return false
}

// second starts another daemon on the same state: it must end with 1, and have spoken to
// no broker.
func (v *life) second(wait time.Duration) error {
	v.pause(wait)
	if !v.answers() {
		return nil
	}
	trap, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	defer trap.Close()
	config := filepath.Join(v.lane.dir, "second-"+strconv.FormatInt(v.began.UnixNano(), 36))
	v.lane.configure(config, "mqtt://"+trap.Addr().String())
	defer os.RemoveAll(config)
	ctx, cancel := context.WithTimeout(context.Background(), endWithin)
	defer cancel()
	cmd := exec.CommandContext(ctx, v.lane.program, "run", "--config", config, "--state", v.lane.state)
	out, _ := cmd.CombinedOutput() // its code is looked at
	if v.over() {
		return nil // then it may well run: the state was free
	}
	if code := cmd.ProcessState.ExitCode(); code != 1 || !strings.Contains(string(out), "another rillgate runs this room") {
		return fmt.Errorf("a second daemon ended with %d: %s", code, out)
	}
	if err := trap.(*net.TCPListener).SetDeadline(time.Now()); err != nil {
		return err
	}
	if conn, err := trap.Accept(); err == nil {
		return errors.Join(errors.New("a second daemon spoke to its broker"), conn.Close())
	}
	v.lane.count.add("second daemons refused")
	return nil
}
