package kill

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

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
