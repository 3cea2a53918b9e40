package kill

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

// diskAlarms are those that a failing disk raises by itself.
var diskAlarms = []zones.Reason{zones.StoreFailed, zones.AlarmStoreDamaged}

// onDisk makes a lane whose state directory is a file system of its own.
func onDisk(t *testing.T, n int, mount func(dir string) error) *lane {
	t.Helper()
	l := newLane(t, n, program, newCounts())
	l.judge.allowed = diskAlarms
	require.NoError(t, os.Mkdir(l.state, 0o750))
	err := mount(l.state)
	if err != nil && os.Getenv("RILLGATE_REQUIRE_TOOLS") != "1" {
		t.Skipf("NOT TESTED: nothing can be mounted here: %v", err)
	}
	require.NoError(t, err, "mount the state directory")
	t.Cleanup(func() { _ = syscall.Unmount(l.state, syscall.MNT_DETACH) })
	return l
}

func tmpfs(size string) func(string) error {
	return func(dir string) error { return command("mount", "-t", "tmpfs", "-o", "size="+size, "none", dir) }
}

func ext4(size string) func(string) error {
	return func(dir string) error {
		image := dir + ".image"
		return errors.Join(command("truncate", "-s", size, image), command("mkfs.ext4", "-q", image), command("mount", "-o", "loop", image, dir))
	}
}

func command(name string, args ...string) error {
	if out, err := exec.Command(name, args...).CombinedOutput(); err != nil {
		return fmt.Errorf("%s %s: %w: %s", name, strings.Join(args, " "), err, out)
	}
	return nil
}

// fill writes until the disk is full, to the last byte.
func fill(t *testing.T, dir string) {
	t.Helper()
	f, err := os.Create(filepath.Join(dir, "ballast"))
	require.NoError(t, err)
	defer f.Close()
	for _, size := range []int{64 << 10, 4096, 1} {
		for err = nil; err == nil; {
			_, err = f.Write(make([]byte, size))
		}
		require.ErrorIs(t, err, syscall.ENOSPC)
	}
	stillFull(t, dir)
}

// stillFull: no block is free, and one more byte finds no place.
func stillFull(t *testing.T, dir string) {
	t.Helper()
	var fs syscall.Statfs_t
	require.NoError(t, syscall.Statfs(dir, &fs))
	require.Zero(t, fs.Bavail, "blocks that are free")
	f, err := os.OpenFile(filepath.Join(dir, "ballast"), os.O_WRONLY|os.O_APPEND, 0)
	require.NoError(t, err)
	defer f.Close()
	_, err = f.Write([]byte{1})
	require.ErrorIs(t, err, syscall.ENOSPC)
}

// awaitSocket waits until the daemon answers for its room. A life that was killed leaves
// its socket behind.
func (v *life) awaitSocket(t *testing.T) {
	t.Helper()
	path := filepath.Join(v.lane.state, "control.sock")
	require.Eventually(t, func() bool {
		info, err := os.Stat(path)
		return err == nil && info.ModTime().After(v.began) || v.over()
	}, 3*endWithin, 5*time.Millisecond, "no socket: it is slow, or stuck")
	require.False(t, v.over(), v.said())
}

// TestFullDisk: the disk fills up while the daemon runs, is full at the next start, and
// has room again. The ledger's blocks are its own, so that water goes on; no start fails.
// The store meets the full disk and says so, in both lives that have one.
func TestFullDisk(t *testing.T) {
	if !*disk {
		t.Skip("it takes a minute: -kill.disk")
	}
	for n, kind := range []struct {
		name  string
		mount func(string) error
	}{{"tmpfs", tmpfs("8m")}, {"ext4", ext4("16M")}} {
		t.Run(kind.name, func(t *testing.T) {
			t.Parallel()
			l := onDisk(t, 600+n, kind.mount)
			l.onFullDisk(t, func(v *life) { v.awaitSocket(t); fill(t, l.state) })
			l.onFullDisk(t, func(*life) {})
			require.NoError(t, os.Remove(filepath.Join(l.state, "ballast")))
			v := l.start(nil)
			l.judge.began(v.began)
			l.waters(t, v)
			require.Nil(t, alarm(l, v.from, zones.AlarmStoreDamaged), "with room again nothing is wrong")
			require.NoError(t, l.bury(v))
		})
	}
}

// onFullDisk lives once on a disk that is full, or that begin fills.
func (l *lane) onFullDisk(t *testing.T, begin func(*life)) {
	t.Helper()
	v := l.start(nil)
	l.judge.began(v.began)
	begin(v)
	l.waters(t, v)
	s, _ := l.tape.await(v.from, raised(zones.AlarmStoreDamaged), v.ended, after(endWithin))
	require.NotNil(t, s, "the store met no full disk: %s", v.said())
	require.Contains(t, s.Alarms, "no room for the store")
	require.Contains(t, s.Alarms, syscall.ENOSPC.Error())
	stillFull(t, l.state)
	require.NoError(t, l.bury(v))
}

// waters awaits an opening, and lets the run go on for some seconds.
func (l *lane) waters(t *testing.T, v *life) {
	t.Helper()
	s, _, err := v.opening()
	require.NoError(t, err)
	require.NotNil(t, s, v.said())
	v.pause(4 * time.Second)
}

// closedRoom runs a life on a disk on which nothing can be written down: it lives on,
// says so, and opens nothing.
func (l *lane) closedRoom(t *testing.T, under ...string) {
	t.Helper()
	v := l.start(under)
	l.judge.began(v.began)
	l.judge.wroteNothing(v.began)
	s, _ := l.tape.await(v.from, raised(zones.StoreFailed), v.ended, after(2*endWithin))
	require.NotNil(t, s, "nobody is told: %s", v.said())
	s, _ = l.tape.await(v.from, opens, v.ended, after(bootHold+5*time.Second))
	require.Nil(t, s, "it opens a valve without a ledger")
	require.NoError(t, l.bury(v))
}

// TestNoRoomForALedger: a disk on which the ledger does not fit from the beginning.
func TestNoRoomForALedger(t *testing.T) {
	if !*disk {
		t.Skip("it takes a minute: -kill.disk")
	}
	t.Parallel()
	l := onDisk(t, 610, tmpfs("512k"))
	l.closedRoom(t)
	l.closedRoom(t) // and again: no crash loop of its own making
}

// TestReadOnlyState: the state of a room that ran, on a file system that came up
// read-only, as one does after an error. The epoch under which that life closed the
// valves was never on disk: the next life meets it in the reports, must take it for a
// lost ledger, and counts the budgets as spent until an operator resets them.
func TestReadOnlyState(t *testing.T) {
	if !*disk {
		t.Skip("it takes a minute: -kill.disk")
	}
	t.Parallel()
	l := onDisk(t, 611, tmpfs("16m"))
	require.NoError(t, l.cycle(cut{way: inRun, after: time.Second}))
	require.NoError(t, command("mount", "-o", "remount,ro", l.state))
	l.closedRoom(t)
	require.NoError(t, command("mount", "-o", "remount,rw", l.state))
	v := l.start(nil)
	l.judge.began(v.began)
	l.judge.spent = true
	s, _ := l.tape.await(v.from, raised(zones.DailyLimit), after(endWithin))
	require.NotNil(t, s, "the budgets do not count as spent")
	s, _ = l.tape.await(v.from, opens, after(bootHold+3*time.Second))
	require.Nil(t, s, "it opens on a budget that counts as spent")
	require.NoError(t, l.resetBudgets())
	s, _, err := v.opening()
	require.NoError(t, err)
	require.NotNil(t, s)
	require.NoError(t, l.bury(v))
}

// resetBudgets is what an operator does after a loss. Who resets a budget says that what
// was given no longer counts.
func (l *lane) resetBudgets() error {
	clear(l.judge.given)
	for _, zone := range []string{"east", "west"} {
		order := &zones.Order{ID: zone, Kind: zones.OrderReset, Subject: "budget", Zone: zone}
		l.judge.ordered(time.Now().Round(0), order)
		if err := command(program, "reset", "budget", zone, "--config", l.config, "--state", l.state); err != nil {
			return err
		}
		l.judge.answered(time.Now().Round(0), order)
	}
	return nil
}

// TestFileSizeLimit: RLIMIT_FSIZE stops files from growing, as a quota does. Under the
// size of a segment no ledger can be made and nothing opens; over it water flows and
// only the store may fail.
func TestFileSizeLimit(t *testing.T) {
	if !*disk {
		t.Skip("it takes a minute: -kill.disk")
	}
	for i, limit := range []int{4 << 10, 64 << 10, 1<<20 - 1, 1 << 20, 1<<20 + 4096, 4 << 20} {
		t.Run(fmt.Sprintf("%d bytes", limit), func(t *testing.T) {
			t.Parallel()
			l := newLane(t, 620+i, program, newCounts())
			l.judge.allowed = diskAlarms
			under := []string{"prlimit", fmt.Sprintf("--fsize=%d", limit), "--"}
			if limit < 1<<20 {
				l.closedRoom(t, under...)
				return
			}
			v := l.start(under)
			l.judge.began(v.began)
			s, _, err := v.opening()
			require.NoError(t, err)
			require.NotNil(t, s, v.said())
			v.pause(4 * time.Second)
			require.NoError(t, l.bury(v))
		})
	}
}
