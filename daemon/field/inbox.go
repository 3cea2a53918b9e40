package field

import (
	"sync"
	"sync/atomic"
	"time"

	"rillgate/zones"
)

// Arrival is one event from the field, with the Mono at which it arrived.
type Arrival struct {
	Event   zones.Event
	Arrived time.Duration
}

// The bounds of what waits for the loop.
const (
	maxWaitingReadings = 4096
	maxWaitingSignals  = 1024
	maxWaitingPerKey   = 8 // of one probe, or of one controller's report, status or input
)

// signalKey is what at most maxWaitingPerKey signals wait for.
type signalKey struct {
	kind       Kind
	controller string
	input      string
}

// waiting is what arrived and was not taken yet. Signals (reports, status, inputs)
// stand apart from readings, so that no flood of readings pushes one out.
type waiting struct {
	readings *backlog[zones.Place]
	signals  *backlog[signalKey]
	link     []Arrival // down, up, or down and then up: the last that the loop has not heard
}

func newWaiting() *waiting {
	return &waiting{
		readings: newBacklog[zones.Place](maxWaitingReadings, maxWaitingPerKey),
		signals:  newBacklog[signalKey](maxWaitingSignals, maxWaitingPerKey),
	}
}

// inbox hands what arrives to the loop. The callbacks fill one set while the loop
// empties the other, so that neither waits for the other's work.
type inbox struct {
	mu      sync.Mutex
	filling *waiting
	mono    func() time.Duration // asked under mu, so that no later drain has an earlier arrival
	wake    chan struct{}

	// The loop's alone:
	emptied       *waiting
	heard, read   []Arrival
	inOrderSignal []Arrival

	taken, shedReadings, shedSignals atomic.Uint64
}

func newInbox(mono func() time.Duration) *inbox {
	return &inbox{filling: newWaiting(), emptied: newWaiting(), mono: mono, wake: make(chan struct{}, 1)}
}

// notify wakes the loop; it never blocks.
func (b *inbox) notify() {
	select {
	case b.wake <- struct{}{}:
	default:
	}
}

func (b *inbox) putReadings(readings []zones.Reading) {
	shed := 0
	b.mu.Lock()
	at := b.mono()
	for i := range readings {
		if b.filling.readings.push(readings[i].Place, Arrival{&readings[i], at}) {
			shed++
		}
	}
	b.mu.Unlock()
	b.taken.Add(uint64(len(readings)))
	if shed > 0 {
		b.shedReadings.Add(uint64(shed))
	}
	b.notify()
}

func (b *inbox) putSignal(key signalKey, ev zones.Event) {
	b.mu.Lock()
	shed := b.filling.signals.push(key, Arrival{ev, b.mono()})
	b.mu.Unlock()
	if shed {
		b.shedSignals.Add(1)
	}
	b.notify()
}

// putLink notes that the command link came up or went down. A blink between two
// drains is told as down, then up.
func (b *inbox) putLink(up bool) {
	b.mu.Lock()
	change := Arrival{&zones.BrokerLink{Up: up}, b.mono()}
	if up {
		b.filling.link = append(b.filling.link, change)
	} else {
		b.filling.link = append(b.filling.link[:0], change)
	}
	b.mu.Unlock()
	b.notify()
}

// drain appends all that waits, in order of arrival, none of it earlier than what
// was drained before. One goroutine calls it.
func (b *inbox) drain(into []Arrival) []Arrival {
	b.mu.Lock()
	b.filling, b.emptied = b.emptied, b.filling
	b.mu.Unlock()
	w := b.emptied
	b.heard = w.signals.empty(b.heard[:0])
	b.read = w.readings.empty(b.read[:0])
	b.inOrderSignal = merge(b.inOrderSignal[:0], w.link, b.heard)
	into = merge(into, b.inOrderSignal, b.read)
	clear(w.link)
	w.link = w.link[:0]
	clear(b.heard)
	clear(b.read)
	clear(b.inOrderSignal)
	return into
}
