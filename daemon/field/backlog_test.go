package field

import (
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

func stamp(n int) Arrival { return Arrival{Event: &zones.Tick{}, Arrived: time.Duration(n)} }

func stamps(arrivals []Arrival) []int {
	var out []int
	for _, a := range arrivals {
		out = append(out, int(a.Arrived))
	}
	return out
}

func TestBacklogKeepsTheOrderAndShedsTheOldest(t *testing.T) {
	b := newBacklog[string](4, 2)
	require.Empty(t, b.empty(nil))
	require.False(t, b.push("a", stamp(1)))
	require.False(t, b.push("b", stamp(2)))
	require.False(t, b.push("a", stamp(3)))
	require.True(t, b.push("a", stamp(4)), "the third of one key pushes its first out")
	require.False(t, b.push("c", stamp(5)))
	require.True(t, b.push("d", stamp(6)), "the fifth pushes the oldest of all out")
	require.Equal(t, []int{3, 4, 5, 6}, stamps(b.empty(nil)))
	require.Empty(t, b.empty(nil))
	require.Empty(t, b.keys)
}

// naive does what backlog does, by searching.
type naive struct {
	limit, perKey int
	items         []Arrival
	keys          []int
}

func (n *naive) push(key int, a Arrival) bool {
	count, first := 0, -1
	for i, k := range n.keys {
		if k == key {
			if first < 0 {
				first = i
			}
			count++
		}
	}
	out := -1
	switch {
	case count == n.perKey:
		out = first
	case len(n.items) == n.limit:
		out = 0
	}
	if out >= 0 {
		n.items = slices.Delete(n.items, out, out+1)
		n.keys = slices.Delete(n.keys, out, out+1)
	}
	n.items, n.keys = append(n.items, a), append(n.keys, key)
	return out >= 0
}

func TestBacklogDoesWhatTheNaiveOneDoes(t *testing.T) {
	for seed := range uint64(40) {
		r := rand.New(rand.NewPCG(seed, 1))
		limit, perKey, keys := 1+r.IntN(200), 1+r.IntN(5), 1+r.IntN(120)
		b, n := newBacklog[int](limit, perKey), &naive{limit: limit, perKey: perKey}
		for i := range 3000 {
			key := r.IntN(keys)
			require.Equal(t, n.push(key, stamp(i)), b.push(key, stamp(i)), "seed %d, push %d", seed, i)
			require.Equal(t, len(n.items), b.held)
			if r.IntN(150) == 0 {
				require.Equal(t, stamps(n.items), stamps(b.empty(nil)), "seed %d, push %d", seed, i)
				n.items, n.keys = nil, nil
				require.Empty(t, b.keys)
			}
		}
	}
}

// handClock is a clock that a test sets.
type handClock struct{ now time.Duration }

func (c *handClock) mono() time.Duration { return c.now }

func TestInboxMergesInOrderOfArrival(t *testing.T) {
	var c handClock
	b := newInbox(c.mono)
	reading := func(at int) {
		c.now = time.Duration(at)
		b.putReadings([]zones.Reading{{Place: zones.Place{Terminal: at}}})
	}
	signal := func(at int) {
		c.now = time.Duration(at)
		b.putSignal(signalKey{kind: ReportTopic, controller: "north"}, &zones.Report{})
	}
	link := func(up bool, at int) {
		c.now = time.Duration(at)
		b.putLink(up)
	}
	reading(1)
	link(true, 2)
	signal(3)
	reading(4)
	link(false, 5)
	signal(6)
	link(true, 7)
	reading(8)
	got := b.drain(nil)
	require.Equal(t, []int{1, 3, 4, 5, 6, 7, 8}, stamps(got), "a coming up before a going down is told by the latter")
	require.Equal(t, []zones.Event{&zones.BrokerLink{}, &zones.BrokerLink{Up: true}}, []zones.Event{got[3].Event, got[5].Event})
	require.Empty(t, b.drain(nil))
	reading(9)
	require.Equal(t, []int{9}, stamps(b.drain(nil)))
	require.Equal(t, uint64(4), b.taken.Load())
}

// Two callbacks and one loop: what a drain gives is never earlier than what the one
// before gave.
func TestInboxNeverGoesBack(t *testing.T) {
	began := time.Now()
	b := newInbox(func() time.Duration { return time.Since(began) })
	var filling sync.WaitGroup
	for range 2 {
		filling.Go(func() {
			for i := range 5000 {
				b.putReadings([]zones.Reading{{Place: zones.Place{Terminal: i % 50}}})
				b.putSignal(signalKey{kind: ReportTopic}, &zones.Report{})
			}
		})
	}
	filled := make(chan struct{})
	go func() { filling.Wait(); close(filled) }()
	last := time.Duration(-1)
	for done := false; !done; {
		select {
		case <-filled:
			done = true
		case <-b.wake:
		}
		for _, a := range b.drain(nil) {
			require.GreaterOrEqual(t, a.Arrived, last)
			last = a.Arrived
		}
	}
}

func TestInboxIsBoundedAndKeepsSignals(t *testing.T) {
	var c handClock
	b := newInbox(c.mono)
	leak := signalKey{kind: InputTopic, controller: "north", input: "leak"}
	b.putSignal(leak, &zones.InputState{Active: true})
	for i := range 100_000 {
		c.now = time.Duration(i)
		b.putReadings([]zones.Reading{{Place: zones.Place{Controller: "x", Terminal: i % 9000}}})
	}
	got := b.drain(nil)
	require.Len(t, got, maxWaitingReadings+1)
	require.IsType(t, &zones.InputState{}, got[0].Event)
	require.Equal(t, 100_000-maxWaitingReadings, int(got[1].Arrived), "the oldest went first")
	require.Equal(t, uint64(100_000-maxWaitingReadings), b.shedReadings.Load())
	require.Zero(t, b.shedSignals.Load())
	for i := range 20 {
		c.now = time.Duration(i)
		b.putSignal(leak, &zones.InputState{Active: i%2 == 0})
	}
	require.Equal(t, []int{12, 13, 14, 15, 16, 17, 18, 19}, stamps(b.drain(nil)))
	require.Equal(t, uint64(12), b.shedSignals.Load())
}

func TestRefusalsAreBounded(t *testing.T) {
	var r refusals
	long := string(make([]byte, 10_000))
	r.count(long, fault(causeValue, "%s", long))
	r.count("b", fault(causeValue, "last"))
	r.count("a", fault(causeJSON, "%s", long))
	got := r.list()
	require.Equal(t, Refusal{causeValue, 2, "last", "b"}, got[1])
	require.LessOrEqual(t, len(got[0].Hint), maxHint+3)
}
