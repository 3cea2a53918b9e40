//go:build linux && amd64

package wallclock

import (
	"flag"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

var all = flag.Bool("wallclock.all", false, "the slower cases too: about a minute and a half")

func slow(t *testing.T) {
	t.Helper()
	if !*all {
		t.Skip("a minute of waiting: -wallclock.all")
	}
}

// Windows: at any time while the bed is dry, and one shot between noon and one.
const (
	whenDry  = `{window: first, from: "00:00", until: "12:00", below: 45 %, shot: 3 s, rest: 10 s}, {window: second, from: "12:00", until: "00:00", below: 45 %, shot: 3 s, rest: 10 s}`
	atNoon   = `{window: noon, from: "12:00", until: "13:00", shot: 3 s, max_shots: 1}`
	midnight = `{window: night, from: "00:00", until: "01:00", shot: 3 s, max_shots: 1}`
	noWindow = `{window: never, from: "03:00", until: "03:01", below: 3 %, shot: 3 s}`
)

// closeLag is how much longer an output may be open than its run is, for what a loaded
// machine takes from a deadline to the command: the grant ends it at the latest.
const closeLag = 300 * time.Millisecond

func day(year int, month time.Month, day, hour, minute, second int) time.Time {
	return time.Date(year, month, day, hour, minute, second, 0, time.UTC)
}

// A box without a clock of its own boots in 1970. No window opens anything (INV-15), a
// person can water; and once the clock is right, and a person or a minute says so, the
// room is watered.
func TestBootIn1970(t *testing.T) {
	r := newRig(t, whenDry, day(1970, time.January, 1, 0, 0, 10), 0)
	r.start()
	r.awaitReason(zones.ClockUnsure, bootHold+15*time.Second)
	r.staysClosed(2 * time.Second)
	r.must("shot", "east", "--for", "3s")
	took := r.awaitRuns(1, 15*time.Second)
	require.InDelta(t, 3, took[0].Seconds(), closeLag.Seconds())
	if *all {
		r.clock.Set(day(2027, time.March, 1, 12, 30, 0))
		stepped := time.Now()
		r.awaitOpen(2, 90*time.Second)
		require.Greater(t, time.Since(stepped), 55*time.Second, "a clock that just stepped is trusted after a minute")
		r.awaitRuns(2, 10*time.Second)
	}
	r.stop()
}

// After ten years of uptime deadlines are right, in the controller's milliseconds too:
// 315,576,000,000 of them do not fit into 32 bits.
func TestTenYearsOfUptime(t *testing.T) {
	const decade = 10 * 365.25 * 24 * time.Hour
	r := newRig(t, whenDry, day(2036, time.June, 1, 12, 10, 0), decade)
	r.start()
	took := r.awaitRuns(1, bootHold+20*time.Second)
	require.InDelta(t, 3, took[0].Seconds(), closeLag.Seconds(), "a shot by the window")
	r.stop()
	for _, c := range r.sent() {
		if c.Open {
			require.Greater(t, c.UntilMS, decade.Milliseconds())
		}
	}
}

// The clock steps while water runs, by an hour, a day, a month, forward and back: every
// run ends when one without a step ends, or earlier (INV-14), and no run is doubled.
func TestStepsInAShot(t *testing.T) {
	slow(t)
	for _, by := range []time.Duration{time.Hour, 24 * time.Hour, 30 * 24 * time.Hour} {
		t.Run(fmt.Sprint(by), func(t *testing.T) {
			r := newRig(t, noWindow, day(2028, time.June, 15, 14, 0, 0), 0)
			r.start()
			r.awaitReason(zones.NoReason, bootHold+15*time.Second)
			n := 0
			shoot := func(step time.Duration) time.Duration {
				require.Eventually(t, func() bool {
					code, _, _ := r.rillgate("shot", "east", "--for", "4s")
					return code == 0
				}, 25*time.Second, 500*time.Millisecond, "the rest is over")
				n++
				r.awaitOpen(n, 5*time.Second)
				r.clock.Step(step)
				return r.awaitRuns(n, 10*time.Second)[n-1]
			}
			whole := shoot(0)
			for whole < 4*time.Second-closeLag && n < 4 {
				whole = shoot(0) // its opening came late, on a busy machine: it is no measure
			}
			require.GreaterOrEqual(t, whole, 4*time.Second-closeLag)
			require.LessOrEqual(t, whole, 4*time.Second+closeLag)
			for _, step := range []time.Duration{by, -by, 0} { // after a step back time goes on
				took := shoot(step)
				require.LessOrEqual(t, took, whole+closeLag, "stepped by %s", step)
				require.LessOrEqual(t, took, 4*time.Second+closeLag)
			}
			require.Len(t, r.journal("clock-step"), 2)
			r.stop()
		})
	}
}

// A window's run goes on over a step out of the window, ends in time, and the window is
// not begun again when the clock comes back to it (INV-16); the next day's is.
func TestOncePerInstance(t *testing.T) {
	slow(t)
	r := newRig(t, atNoon, day(2028, time.June, 15, 12, 10, 0), 0)
	r.start()
	r.awaitOpen(1, bootHold+20*time.Second)
	r.clock.Step(-time.Hour)
	took := r.awaitRuns(1, 10*time.Second)
	require.LessOrEqual(t, took[0], 3*time.Second+closeLag)
	r.trust()
	r.staysClosed(3 * time.Second)
	r.clock.Step(55 * time.Minute)
	r.trust()
	r.staysClosed(20 * time.Second)
	r.clock.Step(24 * time.Hour)
	r.trust()
	r.awaitRuns(2, 20*time.Second)
	r.stop()
	require.Len(t, r.opened(), 2)
}

// The restart comes between the step back and the window: the ledger knows that it was
// given.
func TestOncePerInstanceOverARestart(t *testing.T) {
	slow(t)
	r := newRig(t, atNoon, day(2028, time.June, 15, 12, 10, 0), 0)
	r.start()
	r.awaitRuns(1, bootHold+20*time.Second)
	r.stop()
	r.clock.Step(-5 * time.Minute)
	r.start()
	r.trust()
	r.staysClosed(bootHold + 12*time.Second)
	r.stop()
	require.Len(t, r.opened(), 1)
}

// 2^31 seconds after 1970 is 2038-01-19 03:14:08 UTC (time_t of 32 bits; POSIX.1-2017,
// 4.16 "Seconds Since the Epoch").
func TestPast2038(t *testing.T) {
	slow(t)
	edge := time.Unix(1<<31, 0).UTC()
	r := newRig(t, whenDry, edge.Add(-25*time.Second), 0)
	r.start()
	for n, took := range r.awaitRuns(3, bootHold+60*time.Second) {
		require.InDelta(t, 3, took.Seconds(), closeLag.Seconds(), "run %d", n)
	}
	runs := r.journal("run-opened")
	require.GreaterOrEqual(t, len(runs), 3)
	require.True(t, runs[0].At.Before(edge), "%s", runs[0].At)
	require.True(t, runs[2].At.After(edge), "%s", runs[2].At)
	require.True(t, runs[2].At.Before(edge.Add(2*time.Minute)), "%s", runs[2].At)
	require.Empty(t, r.journal("clock-step"))
	r.stop()
}

// 2100 has no 29 February (Gregorian rule, ISO 8601): the night's window opens on
// 1 March, at midnight.
func TestTurnOfFebruary2100(t *testing.T) {
	slow(t)
	march := day(2100, time.March, 1, 0, 0, 0)
	r := newRig(t, midnight, march.Add(-30*time.Second), 0)
	r.start()
	took := r.awaitRuns(1, bootHold+40*time.Second)
	require.InDelta(t, 3, took[0].Seconds(), closeLag.Seconds())
	runs := r.journal("run-opened")
	require.Len(t, runs, 1)
	require.WithinDuration(t, march.Add(2*time.Second), runs[0].At, 3*time.Second)
	r.stop()
}

// While the kernel says that nobody keeps the clock right, no window opens; soon after
// it says otherwise, one does.
func TestKernelsWord(t *testing.T) {
	slow(t)
	r := newRig(t, whenDry, day(2028, time.June, 15, 12, 10, 0), 0)
	r.clock.Synchronise(false)
	r.start()
	r.awaitReason(zones.ClockUnsure, bootHold+15*time.Second)
	r.staysClosed(5 * time.Second)
	r.clock.Synchronise(true)
	r.awaitRuns(1, 30*time.Second)
	r.clock.Synchronise(false) // a run is not ended, the next one not begun
	r.awaitReason(zones.ClockUnsure, 30*time.Second)
	r.stop()
}
