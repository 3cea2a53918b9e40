package campaign

import (
	"container/heap"
	"time"

	"rillgate/zones/simroom"
)

// queue is what is on its way, in the order of time, then of sending.
type queue struct {
	list []due
	n    int
}

type due struct {
	at time.Duration
	n  int
	do func(w *world)
}

func (q *queue) Len() int { return len(q.list) }
func (q *queue) Less(i, j int) bool {
	a, b := &q.list[i], &q.list[j]
	return a.at < b.at || a.at == b.at && a.n < b.n
}
func (q *queue) Swap(i, j int) { q.list[i], q.list[j] = q.list[j], q.list[i] }
func (q *queue) Push(x any)    { q.list = append(q.list, x.(due)) }
func (q *queue) Pop() any {
	last := q.list[len(q.list)-1]
	q.list = q.list[:len(q.list)-1]
	return last
}

func (q *queue) push(at time.Duration, do func(w *world)) {
	q.n++
	heap.Push(q, due{at, q.n, do})
}

func (q *queue) next() time.Duration {
	if len(q.list) == 0 {
		return simroom.Never
	}
	return q.list[0].at
}

// run does what is due, also what becomes due meanwhile.
func (q *queue) run(w *world) {
	for len(q.list) > 0 && q.list[0].at <= w.now && w.result.Err == nil {
		heap.Pop(q).(due).do(w)
	}
}
