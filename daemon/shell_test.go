package daemon

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

// The daemon's own goroutines in a synctest bubble: the time is the bubble's, each
// wait in it is exact, and a goroutine that never ends fails the test.

// started gives a daemon that waters a bench, ten seconds into four minutes.
func started(t *testing.T, every time.Duration) *bubble {
	b := inBubble(t)
	b.run(every)
	for range 6 { // the boot hold
		time.Sleep(10 * time.Second)
		b.heard("")
	}
	require.True(t, b.shot("bench-a", 4*time.Minute).Accepted)
	time.Sleep(10 * time.Second)
	require.True(t, b.bench.open(8), "the master")
	require.True(t, b.bench.open(1))
	return b
}

func stop(t *testing.T, b *bubble) {
	b.end()
	require.NoError(t, <-b.done)
	synctest.Wait()
}

// A link that goes takes no valve's close with it: the controller closes by itself
// when its lease ends, and the room says the closes again as soon as there is a link.
func TestReconnect(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := started(t, 0)
		b.bench.set(false)
		synctest.Wait()
		mark, _ := b.diary.find(0, "lost close 1")
		require.Positive(t, mark, "the close was tried at once")
		time.Sleep(b.choice.plan.Lease)
		require.False(t, b.bench.open(1) || b.bench.open(8), "each grant has run out")
		require.Equal(t, zones.BrokerLost, b.Shown().Zones[0].Reason)

		mark = b.diary.len()
		up := time.Since(b.diary.begun)
		b.bench.set(true)
		time.Sleep(5 * time.Second)
		first, at := b.diary.find(mark, "close 1")
		require.Positive(t, first)
		require.LessOrEqual(t, at-up, 100*time.Millisecond)
		opened, _ := b.diary.find(mark, "open")
		require.Negative(t, opened, "nothing opens by itself")
		time.Sleep(time.Hour) // the rest
		a := b.shot("bench-a", time.Minute)
		require.True(t, a.Accepted, "it goes on as before: %+v", a)
		stop(t, b)
	})
}

// A loop that hangs starves the watchdog; one that goes on feeds it again.
func TestWatchdogStarvesWhenTheLoopHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := started(t, 3*time.Second)
		b.heard("")
		time.Sleep(20 * time.Second)
		require.InDelta(t, 7, b.heard("WATCHDOG=1"), 1)
		free := make(chan struct{})
		go func() { _ = b.post(t.Context(), func() { <-free }) }()
		synctest.Wait()
		b.heard("")
		time.Sleep(time.Minute)
		require.Zero(t, b.heard("WATCHDOG=1"), "nobody says that the loop lives")
		require.False(t, b.bench.open(1) || b.bench.open(8), "and the leases have closed what was open")
		close(free)
		time.Sleep(20 * time.Second)
		require.InDelta(t, 7, b.heard("WATCHDOG=1"), 1)
		stop(t, b)
	})
}

// A breach is the end: everything is closed, and no sign of life leaves any more.
func TestBreachEndsTheRun(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := started(t, 3*time.Second)
		b.heard("")
		require.NoError(t, b.post(t.Context(), func() { b.breach = &zones.Breach{Invariant: "INV-6", Detail: "planted"} }))
		require.ErrorIs(t, <-b.done, ErrBreach)
		require.Zero(t, b.heard("WATCHDOG=1"))
		require.False(t, b.bench.open(1) || b.bench.open(8))
		b.end()
	})
}

// At a stop the valves close first, the reports that confirm it are awaited, then the
// room is told as disconnected, the link ends, and the store is written last.
func TestOrderAtStop(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := started(t, 0)
		time.Sleep(300 * time.Millisecond) // off the second at which the controller reports anyway
		mark := b.diary.len()
		stop(t, b)
		last := mark - 1
		for _, step := range []string{"close 8", "close 1", "state disconnected", "link closes", "link closed", "store saves"} {
			at, _ := b.diary.find(mark, step)
			require.Greater(t, at, -1, "%s in %v", step, b.diary.since(mark))
			if step == "close 1" || step == "close 8" { // one step's commands have an order of their own
				require.GreaterOrEqual(t, at, mark)
				continue
			}
			require.Greater(t, at, last, "%s in %v", step, b.diary.since(mark))
			last = at
		}
		_, closed := b.diary.find(mark, "close 1")
		_, told := b.diary.find(mark, "state disconnected")
		require.Positive(t, told-closed, "the report was awaited")
		require.LessOrEqual(t, told-closed, 2*time.Second)
		require.False(t, b.bench.open(1) || b.bench.open(8))
		require.Equal(t, 1, b.heard("STOPPING=1"))
	})
}

// A controller that does not answer holds a stop up for five seconds, no longer.
func TestStopWaitsForNoReportForLong(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := started(t, 0)
		b.bench.mu.Lock()
		b.bench.deaf, b.bench.silent = true, true
		b.bench.mu.Unlock()
		mark, began := b.diary.len(), time.Since(b.diary.begun)
		stop(t, b)
		_, told := b.diary.find(mark, "state disconnected")
		require.Equal(t, awaitClosed, told-began)
		n := 0
		for _, line := range b.diary.since(mark) {
			if line == "close 1" {
				n++
			}
		}
		require.Greater(t, n, 2, "the close is said again and again")
	})
}

// A plan that changes the broker during a run: the closes leave over the old link, and
// of two such changes at once the last alone connects, when all before have let go.
func TestChangesOfBrokerDuringARun(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := started(t, 0)
		b.bench.lasts = time.Second
		mark := b.diary.len()
		b.edit(gatewayFile, "mqtt://127.0.0.1:1883", "mqtt://127.0.0.1:1884")
		_, err := b.Apply(t.Context(), "", "test", "")
		require.NoError(t, err)
		synctest.Wait()
		closed, _ := b.diary.find(mark, "close 1")
		gone, _ := b.diary.find(mark, "link closes")
		require.True(t, closed >= mark && closed < gone, "%v", b.diary.since(mark))
		b.edit(gatewayFile, "mqtt://127.0.0.1:1884", "mqtt://127.0.0.1:1885")
		_, err = b.Apply(t.Context(), "", "test", "")
		require.NoError(t, err)
		synctest.Wait()
		require.Zero(t, b.dials.Load(), "the old link has not let go yet")
		time.Sleep(2 * time.Second)
		require.EqualValues(t, 1, b.dials.Load())
		stop(t, b)
	})
}

// Plans come during a run, during another apply, and by a signal at the same time: one
// is in force whole, and the run only gets shorter.
func TestAppliesAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := started(t, 0)
		b.edit(roomFile, "max_run: 6 min", "max_run: 3 min")
		errs := make(chan error, 8)
		for range cap(errs) {
			go func() {
				done, err := b.Apply(t.Context(), "", "test", "")
				if err == nil && len(done.Problems) > 0 {
					err = errors.New(done.Problems[0])
				}
				errs <- err
			}()
		}
		b.reload <- struct{}{}
		for range cap(errs) {
			require.NoError(t, <-errs)
		}
		synctest.Wait()
		require.Equal(t, 1, b.heard("RELOADING=1"))
		require.Equal(t, 3*time.Minute, b.choice.plan.Zones[0].Limits.MaxRun)
		require.True(t, b.bench.open(1))
		time.Sleep(165 * time.Second)
		require.True(t, b.bench.open(1))
		time.Sleep(10 * time.Second)
		require.False(t, b.bench.open(1), "three minutes are over, of four that it was to get")
		stop(t, b)
	})
}

// A plan that comes while the room is being closed is refused, and one that waits for
// the loop is not left waiting.
func TestApplyDuringAStop(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := started(t, 0)
		b.bench.mu.Lock()
		b.bench.deaf = true // the stop takes its five seconds
		b.bench.mu.Unlock()
		b.edit(gatewayFile, "mqtt://127.0.0.1:1883", "mqtt://127.0.0.1:1884")
		b.end()
		synctest.Wait()
		for range 3 {
			_, err := b.Apply(context.Background(), "", "test", "")
			require.ErrorIs(t, err, errEnding)
		}
		require.NoError(t, <-b.done)
		_, err := b.Apply(context.Background(), "", "test", "")
		require.ErrorIs(t, err, errEnding)
		require.Zero(t, b.dials.Load())
	})
}
