package kill

import (
	"errors"
	"fmt"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

// failing is a call of the disk that gives an error: the nth of its kind, and all after
// it where it is onward.
type failing struct {
	kind   int // of diskCalls
	nth    int
	errno  syscall.Errno
	onward bool
}

func (f failing) String() string {
	text := fmt.Sprintf("%s number %d: %s", diskCalls[f.kind], f.nth, f.errno)
	if f.onward {
		return text + ", and ever after"
	}
	return text
}

var (
	storeFiles = []string{"store.db"}
	// newFiles are put in place whole, by their names.
	newFiles = []string{"ledger-a.new", "ledger-b.new", "ledger.marker.new", "store.db.new"}
)

// diskCalls are the kinds of call by which ledger and store reach their files.
var diskCalls = []kind{
	{[]string{"pwrite64"}, ledgerFiles}, {[]string{"fdatasync"}, ledgerFiles}, {[]string{"openat"}, ledgerFiles},
	{[]string{"pwrite64"}, storeFiles}, {[]string{"fdatasync"}, storeFiles}, {[]string{"openat"}, storeFiles},
	{[]string{"openat"}, newFiles}, {[]string{"fallocate", "ftruncate"}, newFiles}, {[]string{"write", "pwrite64"}, newFiles},
	{[]string{"fsync", "fdatasync"}, newFiles}, {[]string{"renameat"}, newFiles}, {[]string{"fsync"}, []string{"."}},
}

// failures are all calls that a start and a shot made, each once and from then on.
func failures(made []int) (all []failing) {
	for _, onward := range []bool{false, true} {
		for i, k := range diskCalls {
			for nth := 1; nth <= made[i]; nth++ {
				errno := syscall.EIO
				if strings.HasPrefix(k.calls[0], "pwrite") && nth%2 == 0 || strings.HasPrefix(k.calls[0], "fallocate") {
					errno = syscall.ENOSPC
				}
				all = append(all, failing{i, nth, errno, onward})
			}
		}
	}
	return all
}

// shortFailures run always: calls that every start and shot make.
var shortFailures = []failing{{1, 2, syscall.EIO, false}, {0, 3, syscall.EIO, true}}

// TestFailingCalls: each call of the disk fails, once or from then on, over a start and
// a shot; a life without a failure says first how many there are. The daemon lives,
// opens nothing that is not on disk and nothing after it said that the ledger failed; the
// next life, on a sound disk, waters again. A life makes its last calls by its own
// timing, so that some numbers are not reached: no more than one in ten.
func TestFailingCalls(t *testing.T) {
	t.Parallel()
	all := shortFailures
	if *disk {
		all = failures(callsMade(t))
	}
	count := newCounts()
	work := make(chan failing, len(all))
	for _, f := range all {
		work <- f
	}
	close(work)
	var mu sync.Mutex
	var missed []failing
	t.Run("lanes", func(t *testing.T) {
		for n := range min(*lanes, len(all)) {
			t.Run(fmt.Sprintf("lane %d", n+1), func(t *testing.T) {
				t.Parallel()
				for f := range work {
					l := newLane(t, 700+n, program, count)
					l.judge.allowed = diskAlarms
					hit, err := l.under(f)
					require.NoError(t, err, "%s\n%s", f, &l.judge.tale)
					if !hit {
						mu.Lock()
						missed = append(missed, f)
						mu.Unlock()
					}
				}
			})
		}
	})
	for _, f := range missed {
		t.Log("not reached:", f)
	}
	t.Logf("%d cases, %d of them failed a call\n%s", len(all), len(all)-len(missed), count)
	require.LessOrEqual(t, 10*len(missed), len(all), "too many numbers were not reached")
}

// callsMade counts the calls of each kind over a start and a shot.
func callsMade(t *testing.T) []int {
	t.Helper()
	l := newLane(t, 699, program, newCounts())
	x := &injector{kinds: diskCalls}
	v, err := l.behind(x)
	require.NoError(t, err)
	l.judge.began(v.began)
	_, opened := v.startAndShot()
	require.NotNil(t, opened, v.said())
	made, _ := x.counted()
	require.NoError(t, l.bury(v))
	for i, k := range diskCalls {
		t.Logf("%3d %s", made[i], k)
		require.Positive(t, made[i], "%s: never called", k)
	}
	return made
}

// startAndShot waits until the first shot of a life is over, and a second more. Where the
// ledger is said to have failed first, it waits for as long as an opening could take. It
// gives the first alarm about that, and the first opening.
func (v *life) startAndShot() (failed, opened *line) {
	told := raised(zones.StoreFailed)
	first, next := v.lane.tape.await(v.from, func(s *line) bool { return opens(s) || told(s) }, v.ended, after(firstOpening))
	opened = first
	if first != nil && !opens(first) {
		opened, next = v.lane.tape.await(next, opens, v.ended, after(bootHold+5*time.Second))
	}
	if opened != nil {
		v.lane.tape.await(next, closes, v.ended, after(16*time.Second))
		v.pause(time.Second)
	}
	failed, _ = v.lane.tape.await(v.from, told, after(0))
	return failed, opened
}

// under lives once with a failing call, and once more without. It reports whether the
// call was made.
func (l *lane) under(f failing) (hit bool, err error) {
	x := &injector{kinds: diskCalls, fail: f}
	v, err := l.behind(x)
	if err != nil {
		return false, err
	}
	l.judge.began(v.began)
	failed, opened := v.startAndShot()
	_, hits := x.counted()
	switch {
	case hits == 0:
		l.count.add("call not made so often")
	case failed != nil:
		l.count.add("told as store-failed, closed")
	case opened != nil:
		l.count.add("watered on")
	default:
		return true, fmt.Errorf("neither water nor an alarm: %s", v.said())
	}
	if failed != nil && opened != nil {
		late := func(s *line) bool { return opens(s) && s.At.Sub(failed.At) > time.Second }
		if s, _ := l.tape.await(v.from, late, after(0)); s != nil {
			return true, errors.New("an opening after the ledger was said to have failed")
		}
	}
	if err := l.bury(v); err != nil || !*disk {
		return hits > 0, err
	}
	return hits > 0, l.soundAgain(failed != nil)
}

// soundAgain lives once more, on a disk that works. Where the life before could not write
// down its start, its epoch stands in the reports alone: that counts as a loss, and an
// operator resets the budgets.
func (l *lane) soundAgain(failed bool) error {
	again := l.start(nil)
	l.judge.began(again.began)
	l.judge.spent = failed
	spent := raised(zones.DailyLimit)
	either := func(s *line) bool { return opens(s) || spent(s) }
	if s, _ := l.tape.await(again.from, either, again.ended, after(firstOpening)); s != nil && spent(s) {
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
