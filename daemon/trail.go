package daemon

import (
	"sync"
	"time"

	"rillgate/daemon/operator"
	"rillgate/zones"
)

// Bounds of the journal in memory; all of it is in the store too.
const (
	trailKept    = 1000 // newest lines
	followerLags = 256  // lines that a follower may be behind before it is dropped
	unsavedMax   = 5000 // lines that a failing store may hold up; the oldest go first
)

// trail numbers the journal's lines and hands them on: to the store in batches, to
// followers and the page at once.
type trail struct {
	mu        sync.Mutex
	next      uint64
	ring      []operator.Line
	unsaved   []operator.Line
	dropped   int // unsaved lines that were given up
	followers map[chan operator.Line]struct{}
}

// newTrail goes on after the number `last`; kept are older lines, saved already.
func newTrail(last uint64, kept []operator.Line) *trail {
	return &trail{next: last + 1, ring: kept, followers: map[chan operator.Line]struct{}{}}
}

// add takes one entry and gives it its number.
func (t *trail) add(at time.Time, e *zones.Entry) operator.Line {
	t.mu.Lock()
	defer t.mu.Unlock()
	line := operator.Line{Seq: t.next, At: at, Entry: *e}
	t.next++
	t.ring = keepLast(append(t.ring, line), trailKept)
	t.unsaved = append(t.unsaved, line)
	if extra := len(t.unsaved) - unsavedMax; extra > 0 {
		t.unsaved = t.unsaved[extra:]
		t.dropped += extra
	}
	for f := range t.followers {
		select {
		case f <- line:
		default: // it does not keep up: it finds its channel closed
			delete(t.followers, f)
			close(f)
		}
	}
	return line
}

// keepLast keeps the newest n, and now and then lets the memory of the others go.
func keepLast(lines []operator.Line, n int) []operator.Line {
	if len(lines) < 2*n {
		return lines
	}
	return append(make([]operator.Line, 0, 2*n), lines[len(lines)-n:]...)
}

// recent gives the newest n lines in memory, or, with from, the first n whose number
// is at least that; oldest first.
func (t *trail) recent(from uint64, n int) []operator.Line {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.since(from, n)
}

func (t *trail) since(from uint64, n int) []operator.Line {
	lines := t.ring
	for from > 0 && len(lines) > 0 && lines[0].Seq < from {
		lines = lines[1:]
	}
	switch {
	case len(lines) > n && from > 0:
		lines = lines[:n]
	case len(lines) > n:
		lines = lines[len(lines)-n:]
	}
	return append([]operator.Line(nil), lines...)
}

// follow gives the newest lines and a channel of all that come after; the channel
// closes when its reader falls behind, or when it is unfollowed.
func (t *trail) follow(from uint64, n int) ([]operator.Line, chan operator.Line) {
	t.mu.Lock()
	defer t.mu.Unlock()
	f := make(chan operator.Line, followerLags)
	t.followers[f] = struct{}{}
	return t.since(from, n), f
}

func (t *trail) unfollow(f chan operator.Line) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if _, ok := t.followers[f]; ok {
		delete(t.followers, f)
		close(f)
	}
}

// last gives the number of the newest line.
func (t *trail) last() uint64 {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.next - 1
}

// waits reports whether a line up to a number is on no way to the store yet.
func (t *trail) waits(upTo uint64) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	return len(t.unsaved) > 0 && t.unsaved[0].Seq <= upTo
}

// takeUnsaved gives what the store does not have yet; putBack returns what it did
// not take.
func (t *trail) takeUnsaved() []operator.Line {
	t.mu.Lock()
	defer t.mu.Unlock()
	lines := t.unsaved
	t.unsaved = nil
	return lines
}

func (t *trail) putBack(lines []operator.Line) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.unsaved = append(lines, t.unsaved...)
}
