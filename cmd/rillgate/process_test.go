package main

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

// openedBy waits for an opening newer than the commands seen before.
func (r *rig) openedBy(within time.Duration, from int) (c command) {
	r.t.Helper()
	require.Eventually(r.t, func() bool {
		for _, c = range r.eyes.commands(r.t)[from:] {
			if c.Open {
				return true
			}
		}
		return false
	}, within, 20*time.Millisecond, "no opening; the daemon said: %s", r.said)
	return c
}

// A dry bed gets water after the boot hold, on grants that are renewed; SIGTERM in the
// middle of the shot closes the valve, which confirms, and the daemon ends with 0.
func TestRunWatersAndClosesOnSIGTERM(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	began := time.Now()
	r.start()
	f := r.room()
	first := r.openedBy(40*time.Second, 0)
	require.GreaterOrEqual(t, first.At.Sub(began), bootHold, "nothing opens within the boot hold")
	require.False(t, r.eyes.commands(t)[0].Open, "each output is closed first")
	require.Eventually(t, func() bool { return driven(f) }, 5*time.Second, 20*time.Millisecond)

	require.Eventually(t, func() bool {
		all := r.eyes.commands(t)
		last := all[len(all)-1]
		return last.Open && last.UntilMS > first.UntilMS
	}, 10*time.Second, 20*time.Millisecond, "the grant is renewed")
	var seq uint32
	for _, c := range r.eyes.commands(t) {
		require.Greater(t, c.Seq, seq, "seq rises over the room")
		require.Equal(t, first.Epoch, c.Epoch)
		seq = c.Seq
	}

	code, took := r.stop(syscall.SIGTERM)
	require.Zero(t, code, r.said.String())
	require.Less(t, took, 6*time.Second)
	require.Eventually(t, func() bool { return !driven(f) }, time.Second, 10*time.Millisecond)
	all := r.eyes.commands(t)
	require.False(t, all[len(all)-1].Open)
	states := r.eyes.on("homie/5/bay-2/$state")
	require.Equal(t, "disconnected", states[len(states)-1].payload)

	code, out, errs := r.rillgate("journal")
	require.Zero(t, code, errs)
	require.Contains(t, errs, "no daemon runs")
	require.Contains(t, out, "run-opened")
	require.Contains(t, out, "run-closed", "what happened at the end was saved")
}

// kill -9 in the middle of a shot: the grant runs out by itself; the next start has a
// higher epoch, holds, closes first, charges the run whole and raises an alarm.
func TestKilledInAShot(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.start()
	f := r.room()
	first := r.openedBy(40*time.Second, 0)
	require.Eventually(t, func() bool { return driven(f) }, 5*time.Second, 20*time.Millisecond)
	_, _ = r.stop(syscall.SIGKILL)
	r.looksDead("20/3600 s", first.Run)
	before := len(r.eyes.commands(t))
	require.Eventually(t, func() bool { return !driven(f) }, 11*time.Second, 20*time.Millisecond, "the grant of 10 s runs out")

	began := time.Now()
	r.start()
	alarms := func() string {
		all := r.eyes.on("rillgate/bay-2/alarms")
		return all[len(all)-1].payload
	}
	require.Eventually(t, func() bool { return strings.Contains(alarms(), string(zones.AlarmUnfinishedRun)) }, 5*time.Second, 20*time.Millisecond)
	require.InDelta(t, 20, r.view()[0].UsedSeconds, 0.1, "the whole run counts until it is settled")
	next := r.openedBy(60*time.Second, before)
	require.GreaterOrEqual(t, next.At.Sub(began), bootHold)
	require.Greater(t, next.Epoch, first.Epoch)
	require.NotEqual(t, next.Run, first.Run)
	require.False(t, r.eyes.commands(t)[before].Open, "closed first")
	code, _ := r.stop(syscall.SIGTERM)
	require.Zero(t, code)
}

// looksDead asks the store after a crash in a shot: charges are right, nothing is said
// of how the room is now, and looking changes nothing.
func (r *rig) looksDead(used, run string) {
	r.t.Helper()
	for range 2 {
		code, out, errs := r.rillgate("zones")
		require.Zero(r.t, code, errs)
		require.Contains(r.t, errs, "no daemon runs; as last recorded at 20")
		require.Contains(r.t, out, used)
		require.Contains(r.t, out, "not-running")
		require.NotContains(r.t, out, string(zones.ClockUnsure))
		require.NotContains(r.t, out, string(zones.Starting))
	}
	code, out, _ := r.rillgate("why", "room")
	require.Zero(r.t, code)
	require.Contains(r.t, out, "room bay-2: not-running\nno daemon runs\n")
	require.Contains(r.t, out, run)
	require.NotContains(r.t, out, "clock trust")
	code, out, _ = r.rillgate("why", "north")
	require.Zero(r.t, code)
	require.Contains(r.t, out, "no daemon runs")
}

// Looks, orders, plans, backup and restore over the control socket, while the boot
// hold runs.
func TestControlSocket(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.start()
	r.room()

	code, _, errs := runProgram(t, "run", "--config", r.config, "--state", r.state)
	require.Equal(t, 1, code)
	require.Contains(t, errs, "another rillgate runs this room")

	code, out, errs := r.rillgate("hold", "east", "--for", "2h", "--note", "pruning")
	require.Zero(t, code, errs)
	require.Contains(t, out, "held")
	code, _, errs = r.rillgate("hold", "nowhere")
	require.Equal(t, 1, code)
	require.Contains(t, errs, "error: refused: no zone")
	require.NotContains(t, errs, "hint: ", "there is no code to explain")
	require.NotNil(t, r.view()[0].HoldUntil)
	code, out, _ = r.rillgate("why", "east")
	require.Zero(t, code)
	require.Contains(t, out, "hold until")
	code, out, _ = r.rillgate("why", "daily-limit")
	require.Zero(t, code)
	require.Contains(t, out, "max_per_day")
	code, _, _ = r.rillgate("why", "nothing-like-it")
	require.Equal(t, 1, code)
	require.Eventually(t, func() bool {
		_, out, _ = r.rillgate("probes")
		return strings.Contains(out, "good")
	}, 15*time.Second, 100*time.Millisecond)

	var order bool
	for _, l := range r.journal() {
		order = order || l.Kind == "order" && l.Note == "pruning" && strings.Contains(l.By, "uid") && l.Source == "socket"
	}
	require.True(t, order, "an order is journalled with where it came from")
	code, out, errs = r.rillgate("journal", "--trace")
	require.Zero(t, code, errs)
	require.Contains(t, out, `"reading"`)
	require.Contains(t, out, `"order"`)
	trace := filepath.Join(t.TempDir(), "trace.jsonl")
	require.NoError(t, os.WriteFile(trace, []byte(out), 0o600))
	code, out, errs = runProgram(t, "replay", "--config", r.config, "--trace", trace)
	require.Zero(t, code, errs)
	require.Contains(t, out, `"kind":"command"`, "what is exported can be replayed")

	file := filepath.Join(t.TempDir(), "room.backup")
	code, _, errs = r.rillgate("backup", file)
	require.Zero(t, code, errs)
	code, _, errs = r.rillgate("restore", filepath.Join(r.config, "room.yaml"))
	require.Equal(t, 1, code)
	require.Contains(t, errs, "no backup")
	code, out, errs = r.rillgate("restore", file, "--note", "trying")
	require.Zero(t, code, errs)
	require.Contains(t, out, "starts anew")
	require.Eventually(t, func() bool {
		code, _, errs := r.rillgate("zones")
		return code == 0 && errs == "" && strings.Contains(r.said.String(), "starting anew")
	}, 20*time.Second, 50*time.Millisecond, "the daemon comes back: %s", r.said)
	require.NotNil(t, r.view()[0].HoldUntil, "the ledger did not go back")
	require.FileExists(t, filepath.Join(r.state, "store.before-restore"))
	code, _ = r.stop(syscall.SIGINT)
	require.Zero(t, code, r.said.String())
}

// Saved is not in force; a configuration with errors changes nothing and is told; the
// last good plan survives a restart.
func TestApply(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.start()
	_, out, _ := r.rillgate("plans")
	require.Contains(t, out, "in force")
	first := strings.Fields(strings.Split(out, "\n")[1])[0]

	good := strings.ReplaceAll(testSchedule, "below: 45 %", "below: 41 %")
	r.write("schedule.yaml", good)
	require.Equal(t, 45.0, *r.view()[0].Below, "saved is not in force")
	code, out, errs := r.rillgate("apply", "--note", "less water")
	require.Zero(t, code, errs)
	require.Contains(t, out, "41")
	require.Equal(t, 41.0, *r.view()[0].Below)

	r.write("schedule.yaml", strings.ReplaceAll(good, "shot: 20 s", "shot: 20 L/h"))
	code, _, errs = r.rillgate("apply")
	require.Equal(t, 1, code)
	require.Contains(t, errs, "schedule.yaml:3:")
	require.Equal(t, 41.0, *r.view()[0].Below)
	require.NoError(t, r.daemon.Process.Signal(syscall.SIGHUP))
	rejected := func() bool {
		all := r.eyes.on("rillgate/bay-2/alarms")
		return len(all) > 0 && strings.Contains(all[len(all)-1].payload, string(zones.AlarmPlanRejected))
	}
	require.Eventually(t, rejected, 5*time.Second, 20*time.Millisecond, "the failure is published")

	code, _ = r.stop(syscall.SIGTERM)
	require.Zero(t, code, r.said.String())
	r.start()
	require.Equal(t, 41.0, *r.view()[0].Below, "the last good plan is in force")
	require.Eventually(t, rejected, 5*time.Second, 20*time.Millisecond)

	code, _, errs = r.rillgate("apply", "--plan", first)
	require.Zero(t, code, errs)
	require.Equal(t, 45.0, *r.view()[0].Below, "an earlier plan comes back")
	require.Eventually(t, func() bool { return !rejected() }, 5*time.Second, 20*time.Millisecond)
	code, _, errs = r.rillgate("apply", "--plan", "nope")
	require.Equal(t, 1, code)
	require.Contains(t, errs, "rillgate plans")
}

// A room.yaml that fails and is another than the last good one keeps the room closed,
// and page, socket and topics say so. Without any good plan the daemon runs closed too.
func TestFailingRoomStaysClosed(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.start()
	code, _ := r.stop(syscall.SIGTERM)
	require.Zero(t, code)
	r.write("room.yaml", strings.ReplaceAll(testRoom, "output: 1", "output: one"))
	r.start()
	require.Empty(t, r.view(), "no zone can be watered")
	code, out, _ := r.rillgate("why", "room")
	require.Zero(t, code)
	require.Contains(t, out, string(zones.AlarmPlanRejected))
	require.Contains(t, out, "room.yaml:13")
	require.Eventually(t, func() bool {
		all := r.eyes.on("rillgate/bay-2/alarms")
		return len(all) > 0 && strings.Contains(all[len(all)-1].payload, "stays closed")
	}, 5*time.Second, 20*time.Millisecond)
	r.write("room.yaml", testRoom)
	code, _, errs := r.rillgate("apply")
	require.Zero(t, code, errs)
	require.Len(t, r.view(), 1)
	code, _ = r.stop(syscall.SIGTERM)
	require.Zero(t, code)

	empty := newRig(t)
	empty.write("gateway.yaml", "mqtt:\n")
	empty.start()
	code, out, _ = empty.rillgate("why", "room")
	require.Zero(t, code)
	require.Contains(t, out, "no plan is in force")
	empty.write("gateway.yaml", strings.ReplaceAll(testGateway, "BROKER", empty.broker.URL()))
	code, _, errs = empty.rillgate("apply")
	require.Zero(t, code, errs)
	require.Eventually(t, func() bool {
		states := empty.eyes.on("homie/5/bay-2/$state")
		return len(states) > 0 && states[len(states)-1].payload == "ready"
	}, 10*time.Second, 20*time.Millisecond, "the broker of the new plan is connected")
	code, _ = empty.stop(syscall.SIGTERM)
	require.Zero(t, code, empty.said.String())
}
