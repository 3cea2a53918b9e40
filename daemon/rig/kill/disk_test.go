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

// fill writes until the disk is full; what it gives frees it again.
func fill(t *testing.T, dir string) (free func()) {
	t.Helper()
	path := filepath.Join(dir, "ballast")
	f, err := os.Create(path)
	require.NoError(t, err)
	defer f.Close()
	for _, size := range []int{64 << 10, 4096, 1} { // to the last byte
		for err = nil; err == nil; {
			_, err = f.Write(make([]byte, size))
		}
		require.ErrorIs(t, err, syscall.ENOSPC)
	}
	return func() { require.NoError(t, os.Remove(path)) }
}

// awaitSocket waits until the daemon answers for its room. A life that was killed leaves
// its socket behind.
func (v *life) awaitSocket(t *testing.T) {
	t.Helper()
	path := filepath.Join(v.lane.state, "control.sock")
	require.Eventually(t, func() bool {
		info, err := os.Stat(path)
		return err == nil && info.ModTime().After(v.began) || v.over()
	}, endWithin, time.Millisecond)
	require.False(t, v.over(), v.said())
}

// TestFullDisk: the disk fills up while the daemon runs, is full at the next start, and
// has room again. The ledger's blocks are its own, so that water goes on; no start fails.
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
			for _, when := range []string{"it fills up", "it is full at the start", "there is room again"} {
				if when == "there is room again" {
					require.NoError(t, os.Remove(filepath.Join(l.state, "ballast")))
				}
				v := l.start(nil)
				l.judge.began(v.began)
				if when == "it fills up" {
					v.awaitSocket(t)
					fill(t, l.state)
				}
				s, _, err := v.opening()
				require.NoError(t, err, when)
				require.NotNil(t, s, when)
				v.pause(4 * time.Second)
				require.NoError(t, l.bury(v), when)
			}
		})
	}
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

// failing is a system call of the disk that gives an error from the nth on, or once.
type failing struct {
	call   call
	errno  string
	onward bool
}

func (f failing) String() string {
	text := fmt.Sprintf("%s of %s number %d of a thread: %s", f.call.name, strings.Join(f.call.paths, ","), f.call.nth, f.errno)
	if f.onward {
		return text + " and ever after"
	}
	return text
}

func (f failing) arguments(state, out string) []string {
	when := fmt.Sprint(f.call.nth)
	if f.onward {
		when += "+"
	}
	args := []string{"strace", "-D", "-f", "-qq", "-y", "-s", "0", "-o", out, "-e", "trace=" + f.call.name,
		"-e", fmt.Sprintf("inject=%s:error=%s:when=%s", f.call.name, f.errno, when)}
	return append(args, pathArguments(state, f.call.paths)...)
}

// failures are all calls on ledger and store over a start and one shot: so many of each
// that the last are never made, which is counted.
func failures() (all []failing) {
	storeFiles := []string{"store.db"}
	for _, onward := range []bool{false, true} {
		for _, c := range []call{
			{"pwrite64", ledgerFiles, 10}, {"fdatasync", ledgerFiles, 10}, {"openat", ledgerFiles, 4},
			{"pwrite64", storeFiles, 12}, {"fdatasync", storeFiles, 6}, {"openat", storeFiles, 3},
			{"fallocate,ftruncate", storeFiles, 2}, {"fallocate", []string{"ledger-a.new", "ledger-b.new"}, 2},
			{"fsync", []string{"ledger-a.new", "ledger-b.new", "ledger.marker.new"}, 3},
			{"write", []string{"ledger-a.new", "ledger-b.new", "ledger.marker.new"}, 3},
		} {
			for nth := 1; nth <= c.nth; nth++ {
				errno := "EIO"
				if strings.HasPrefix(c.name, "pwrite") && nth%2 == 0 || strings.HasPrefix(c.name, "fallocate") {
					errno = "ENOSPC"
				}
				all = append(all, failing{call{c.name, c.paths, nth}, errno, onward})
			}
		}
	}
	return all
}

// TestFailingCalls: each call of the disk fails, once or from then on, over a start and
// a shot. The daemon lives, opens nothing that is not on disk and nothing after it said
// that the ledger failed; the next life, on a sound disk, waters again.
func TestFailingCalls(t *testing.T) {
	needStrace(t)
	all := failures()
	if !*disk {
		all = []failing{{call{"fdatasync", ledgerFiles, 2}, "EIO", false}, {call{"pwrite64", ledgerFiles, 3}, "EIO", true}}
	}
	count := newCounts()
	work := make(chan failing, len(all))
	for _, f := range all {
		work <- f
	}
	close(work)
	t.Run("lanes", func(t *testing.T) {
		for n := range min(*lanes, len(all)) {
			t.Run(fmt.Sprintf("lane %d", n+1), func(t *testing.T) {
				t.Parallel()
				for f := range work {
					l := newLane(t, 700+n, program, count)
					l.judge.allowed = diskAlarms
					require.NoError(t, l.under(f), "%s\n%s", f, &l.judge.tale)
				}
			})
		}
	})
	t.Log(count)
}

// under lives once with a failing call, and once more without.
func (l *lane) under(f failing) error {
	trace := filepath.Join(l.dir, "strace")
	v := l.start(f.arguments(l.state, trace))
	l.judge.began(v.began)
	told := raised(zones.StoreFailed)
	first, next := l.tape.await(v.from, func(s *line) bool { return opens(s) || told(s) }, v.ended, after(firstOpening))
	opened := first
	if first != nil && !opens(first) {
		opened, next = l.tape.await(next, opens, v.ended, after(bootHold+5*time.Second))
	}
	if opened != nil {
		l.tape.await(next, closes, v.ended, after(16*time.Second))
		v.pause(500 * time.Millisecond)
	}
	text, err := os.ReadFile(trace)
	hit := err == nil && strings.Contains(string(text), "(INJECTED)")
	failed, place := l.tape.await(v.from, told, after(0))
	switch {
	case !hit:
		l.count.add("call not made so often")
	case failed != nil:
		l.count.add("told as store-failed, closed")
	case opened != nil:
		l.count.add("watered on")
	default:
		return fmt.Errorf("neither water nor an alarm: %s", v.said())
	}
	if late, _ := l.tape.await(place, opens, after(0)); failed != nil && late != nil && late.At.Sub(failed.At) > time.Second {
		return errors.New("an opening after the ledger was said to have failed")
	}
	if err := l.bury(v); err != nil || !*disk {
		return err
	}
	return l.soundAgain(failed != nil)
}

// soundAgain lives once more, on a disk that works. Where the life before could not write
// down its start, its epoch stands in the reports alone: that counts as a loss, and an
// operator resets the budgets.
func (l *lane) soundAgain(failed bool) error {
	again := l.start(nil)
	l.judge.began(again.began)
	l.judge.spent = failed
	if s, _ := l.tape.await(again.from, raised(zones.DailyLimit), again.ended, after(5*time.Second)); s != nil {
		if !failed {
			return fmt.Errorf("the budgets count as spent, and no failure was told before: %s", again.said())
		}
		l.count.add("budgets reset by hand afterwards")
		// A reset before the controllers' first reports is undone by the epoch in them: that
		// is another sign of the loss. An operator takes longer than that.
		again.pause(3 * time.Second)
		if err := l.resetBudgets(); err != nil {
			return err
		}
	}
	if _, _, err := again.opening(); err != nil {
		return fmt.Errorf("on a sound disk again: %w", err)
	}
	return l.bury(again)
}
