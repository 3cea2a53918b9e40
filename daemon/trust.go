package daemon

import (
	"fmt"
	"time"
)

// Bounds of a clock that can be believed.
const (
	stepLimit   = 2 * time.Second  // a change of Wall against Mono beyond it is a step
	steadyFor   = 60 * time.Second // without a step, before windows may start again
	syncedEvery = 10 * time.Second // the kernel is asked no more often
)

// trust judges whether the wall clock may start windows. A machine that came up
// less than a minute ago waits too: its time server speaks in that minute.
type trust struct {
	floor      time.Time // Wall is never before this: the build, or the ledger's last time
	needSynced bool      // clock.trust: synchronised
	synced     func() bool

	begun    bool
	offset   time.Duration // Wall less Mono, where the clock stood last
	moved    time.Duration // Mono of the last step
	byHand   bool          // a person said so; until the next step
	askedAt  time.Duration
	isSynced bool
}

// step is one jump of the wall clock.
type step struct {
	By time.Duration
}

// look takes one look at the clock: whether it is to be trusted, why not, and the
// step that happened since the last look, if any.
func (t *trust) look(wall time.Time, mono time.Duration) (ok bool, because string, jump *step) {
	offset := time.Duration(wall.UnixNano()) - mono
	if !t.begun {
		t.begun, t.offset, t.askedAt = true, offset, mono-syncedEvery
	}
	if by := offset - t.offset; by > stepLimit || by < -stepLimit {
		jump = &step{By: by}
		t.moved, t.byHand, t.offset = mono, false, offset
	} else if mono-t.moved >= steadyFor {
		t.offset = offset // slewing is no step
	}
	because = t.doubt(wall, mono)
	return because == "", because, jump
}

// doubt gives the reason not to trust, "" for none.
func (t *trust) doubt(wall time.Time, mono time.Duration) string {
	if t.byHand {
		return ""
	}
	if wall.Before(t.floor) {
		return fmt.Sprintf("the clock says %s, before %s, which is past", wall.UTC().Format(time.RFC3339), t.floor.UTC().Format(time.RFC3339))
	}
	if left := steadyFor - (mono - t.moved); left > 0 {
		return fmt.Sprintf("the clock stepped, or the machine started, less than a minute ago; %d s to wait", int(left.Seconds())+1)
	}
	if t.needSynced && !t.kernelSays(mono) {
		return "the kernel does not say that the clock is synchronised"
	}
	return ""
}

func (t *trust) kernelSays(mono time.Duration) bool {
	if mono-t.askedAt >= syncedEvery {
		t.askedAt, t.isSynced = mono, t.synced()
	}
	return t.isSynced
}

// byPerson trusts the clock as it stands until its next step.
func (t *trust) byPerson() { t.byHand = true }
