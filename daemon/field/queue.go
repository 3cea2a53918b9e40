package field

import (
	"sync"
	"sync/atomic"
)

// queue is a bounded queue to one sender goroutine. What does not fit is dropped
// and counted; putting never waits.
type queue[T sized] struct {
	items    chan T
	maxBytes int64
	bytes    atomic.Int64

	mu   sync.Mutex
	open int // queued, or taken and not yet done
	none chan struct{}

	sent, dropped atomic.Uint64
}

// sized tells how many bytes an item holds.
type sized interface{ size() int }

// newQueue bounds the items and, when maxBytes is not 0, their bytes.
func newQueue[T sized](limit int, maxBytes int64) *queue[T] {
	return &queue[T]{items: make(chan T, limit), maxBytes: maxBytes}
}

// put reports false when the queue is full.
func (q *queue[T]) put(item T) bool {
	n := int64(item.size())
	if q.maxBytes > 0 && q.bytes.Load()+n > q.maxBytes {
		q.dropped.Add(1)
		return false
	}
	q.begin()
	q.bytes.Add(n)
	select {
	case q.items <- item:
		return true
	default:
		q.bytes.Add(-n)
		q.done(false)
		return false
	}
}

// refuse counts an item that was not even queued.
func (q *queue[T]) refuse() bool {
	q.dropped.Add(1)
	return false
}

// took frees the bytes of an item that came out of items.
func (q *queue[T]) took(item T) { q.bytes.Add(-int64(item.size())) }

func (q *queue[T]) begin() {
	q.mu.Lock()
	q.open++
	q.mu.Unlock()
}

// done ends an item, sent or dropped.
func (q *queue[T]) done(sent bool) {
	if sent {
		q.sent.Add(1)
	} else {
		q.dropped.Add(1)
	}
	q.mu.Lock()
	defer q.mu.Unlock()
	q.open--
	if q.open == 0 && q.none != nil {
		close(q.none)
		q.none = nil
	}
}

// idle gives a channel that closes when nothing is queued or being sent.
func (q *queue[T]) idle() <-chan struct{} {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.open == 0 {
		c := make(chan struct{})
		close(c)
		return c
	}
	if q.none == nil {
		q.none = make(chan struct{})
	}
	return q.none
}

// forget drops all that waits.
func (q *queue[T]) forget() {
	for {
		select {
		case item := <-q.items:
			q.took(item)
			q.done(false)
		default:
			return
		}
	}
}
