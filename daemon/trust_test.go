package daemon

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func newTrust() (*trust, *hands) {
	h := &hands{wall: noon, mono: 10 * time.Minute}
	return &trust{floor: noon.AddDate(0, -1, 0), synced: h.Synchronised}, h
}

func trusts(t *trust, h *hands) bool {
	ok, _, _ := t.look(h.Now())
	return ok
}

func TestClockOfAMachineThatRunsIsTrustedAtOnce(t *testing.T) {
	tr, h := newTrust()
	require.True(t, trusts(tr, h))
}

func TestMachineThatJustStartedWaitsAMinute(t *testing.T) {
	tr, h := newTrust()
	h.mono = 20 * time.Second
	require.False(t, trusts(tr, h))
	h.pass(steadyFor - 20*time.Second - time.Millisecond)
	require.False(t, trusts(tr, h))
	h.pass(time.Millisecond)
	require.True(t, trusts(tr, h))
}

func TestClockBeforeWhatIsPastIsNotTrusted(t *testing.T) {
	tr, h := newTrust()
	h.wall = time.Date(1970, 1, 1, 0, 3, 0, 0, time.UTC)
	ok, why, _ := tr.look(h.Now())
	require.False(t, ok)
	require.Contains(t, why, "1970")
}

func TestStepBeyondTwoSecondsCostsAMinute(t *testing.T) {
	for name, c := range map[string]struct {
		by      time.Duration
		trusted bool
	}{
		"forward at the edge": {stepLimit, true}, "forward": {stepLimit + time.Millisecond, false},
		"back at the edge": {-stepLimit, true}, "back": {-stepLimit - time.Millisecond, false},
	} {
		t.Run(name, func(t *testing.T) {
			tr, h := newTrust()
			require.True(t, trusts(tr, h))
			h.pass(time.Second)
			h.wall = h.wall.Add(c.by)
			ok, _, jump := tr.look(h.Now())
			require.Equal(t, c.trusted, ok)
			require.Equal(t, !c.trusted, jump != nil)
			if jump != nil {
				require.Equal(t, c.by, jump.By)
				h.pass(steadyFor - time.Millisecond)
				require.False(t, trusts(tr, h))
			}
			h.pass(time.Millisecond)
			require.True(t, trusts(tr, h))
		})
	}
}

// Slewing moves the clock too, at most by 500 ppm (adjtimex(2)): it is no step.
func TestSlewingIsNoStep(t *testing.T) {
	tr, h := newTrust()
	require.True(t, trusts(tr, h))
	for range 3 * 3600 {
		h.pass(time.Second)
		h.wall = h.wall.Add(500 * time.Microsecond)
		require.True(t, trusts(tr, h))
	}
}

// Steps that are small by themselves are one step when they come within a minute
// of another.
func TestManySmallStepsAfterAStepAreSeen(t *testing.T) {
	tr, h := newTrust()
	require.True(t, trusts(tr, h))
	h.wall = h.wall.Add(time.Hour)
	require.False(t, trusts(tr, h))
	jumps := 0
	for range 5 {
		h.pass(time.Second)
		h.wall = h.wall.Add(1500 * time.Millisecond)
		if _, _, j := tr.look(h.Now()); j != nil {
			jumps++
		}
	}
	require.Positive(t, jumps)
}

func TestTrustByHandEndsAtTheNextStep(t *testing.T) {
	tr, h := newTrust()
	h.wall = time.Date(2001, 1, 1, 0, 0, 0, 0, time.UTC)
	require.False(t, trusts(tr, h))
	tr.byPerson()
	h.pass(time.Hour)
	require.True(t, trusts(tr, h))
	h.wall = h.wall.Add(-time.Minute)
	require.False(t, trusts(tr, h))
	h.pass(2 * steadyFor)
	require.False(t, trusts(tr, h))
}

func TestSynchronisedNeedsTheKernelsWord(t *testing.T) {
	tr, h := newTrust()
	word := false
	tr.needSynced, tr.synced = true, func() bool { return word }
	require.False(t, trusts(tr, h))
	word = true
	h.pass(syncedEvery)
	require.True(t, trusts(tr, h))
}

func TestMachineClock(t *testing.T) {
	var c MachineClock
	_, a := c.Now()
	wall, b := c.Now()
	require.GreaterOrEqual(t, b, a)
	require.WithinDuration(t, time.Now(), wall, time.Minute)
	c.Synchronised() // it may say either; it must not need a privilege or panic
}
