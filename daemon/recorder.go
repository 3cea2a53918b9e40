package daemon

import (
	"sync"

	"rillgate/zones"
)

// recordsWaiting bounds the records that a slow disk may hold up. Beyond it they
// fail at once: nothing opens on a disk that does not keep up.
const recordsWaiting = 4096

// Ledger makes records durable, in order: all of them when it returns nil.
type Ledger interface {
	Append(recs ...*zones.Record) error
}

// recorder writes to the ledger on a goroutine of its own, so that the loop never
// waits for a disk. Its answers come back to the loop as events, in order.
type recorder struct {
	ledger Ledger
	ready  chan struct{} // something is in answers
	kick   chan struct{} // something is in queue, or end is set
	done   chan struct{}

	mu      sync.Mutex
	queue   []*zones.Record
	answers []zones.Event
	waiting []chan struct{} // for the queue to be empty
	busy    bool
	end     bool
	failed  bool // a record could not be made durable, and none will be any more
}

func newRecorder(l Ledger) *recorder {
	r := &recorder{ledger: l, ready: make(chan struct{}, 1), kick: make(chan struct{}, 1), done: make(chan struct{})}
	go r.work()
	return r
}

// put queues a copy of one record.
func (r *recorder) put(rec *zones.Record) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.queue) >= recordsWaiting || r.end {
		r.failed = true
		r.answer(&zones.RecordFailed{Seq: rec.Seq, Err: "the ledger's disk does not keep up: look at it, then restart"})
		return
	}
	own := *rec
	r.queue = append(r.queue, &own)
	signal(r.kick)
}

// answer is called with mu held.
func (r *recorder) answer(ev zones.Event) {
	r.answers = append(r.answers, ev)
	signal(r.ready)
}

// take gives the answers so far and forgets them.
func (r *recorder) take() []zones.Event {
	r.mu.Lock()
	defer r.mu.Unlock()
	got := r.answers
	r.answers = nil
	return got
}

// written gives a channel that closes when all that was put so far is durable, or will
// never be: lost tells which.
func (r *recorder) written() <-chan struct{} {
	r.mu.Lock()
	defer r.mu.Unlock()
	c := make(chan struct{})
	if len(r.queue) == 0 && !r.busy {
		close(c)
		return c
	}
	r.waiting = append(r.waiting, c)
	return c
}

// lost reports whether a record could not be made durable: what was asked since the room
// began to end may be forgotten.
func (r *recorder) lost() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.failed
}

// idle reports whether every record was answered and every answer taken.
func (r *recorder) idle() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return len(r.queue) == 0 && !r.busy && len(r.answers) == 0
}

// close writes what waits and ends; done is closed then.
func (r *recorder) close() {
	r.mu.Lock()
	r.end = true
	r.mu.Unlock()
	signal(r.kick)
}

func (r *recorder) work() {
	defer close(r.done)
	for range r.kick {
		batch := r.grab()
		if len(batch) > 0 {
			r.finish(batch, r.ledger.Append(batch...))
		}
		if r.over() {
			return
		}
	}
}

func (r *recorder) grab() []*zones.Record {
	r.mu.Lock()
	defer r.mu.Unlock()
	batch := r.queue
	r.queue, r.busy = nil, len(batch) > 0
	return batch
}

func (r *recorder) finish(batch []*zones.Record, err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.busy = false
	r.failed = r.failed || err != nil
	if len(r.queue) == 0 {
		for _, c := range r.waiting {
			close(c)
		}
		r.waiting = nil
	}
	if err != nil {
		r.answer(&zones.RecordFailed{Seq: batch[0].Seq, Err: err.Error()})
		return
	}
	r.answer(&zones.Recorded{Seq: batch[len(batch)-1].Seq})
}

func (r *recorder) over() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.end && len(r.queue) > 0 {
		signal(r.kick)
		return false
	}
	return r.end
}

// signal wakes whoever waits on a channel of one place; a signal that is not
// fetched yet stands for this one too.
func signal(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}
