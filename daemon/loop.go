package daemon

import (
	"context"
	"fmt"
	"runtime"
	"time"

	"rillgate/daemon/field"
	"rillgate/zones"
)

// Pace of the loop.
const (
	tickEvery = time.Second           // at least so often the room sees the time
	tickGap   = 50 * time.Millisecond // and no more often than this for its deadlines
)

// Field is the way to the room controllers. Only Close waits, and no longer than
// its context says.
type Field interface {
	// Send puts a command on its controller's topic; false = it cannot go now, and
	// the room will say it again.
	Send(c *zones.Command) bool
	Wake() <-chan struct{}                      // something came in
	Drain(into []field.Arrival) []field.Arrival // what came in, in order
	Close(ctx context.Context)
}

// outlets are where effects go that the loop only passes on.
type outlets struct {
	entry  func(at time.Time, e *zones.Entry)
	alarm  func(a *zones.Alarm)
	state  func(s *zones.State)
	answer func(a *zones.Answer)
	seen   func(now zones.Instant, ev zones.Event, effects []zones.Effect) // every step, done
}

// core is the Room, as the loop calls it.
type core interface {
	Step(now zones.Instant, ev zones.Event) []zones.Effect
	Next() time.Duration
	View(now zones.Instant) zones.View
	Memory() *zones.Memory
	Quiet() bool
	Age(now zones.Instant) time.Duration
}

// loop owns the Room: it alone calls it, on one goroutine. Everything else comes in
// as an event and goes out as an effect.
type loop struct {
	clock    Clock
	trust    *trust
	room     core
	field    Field
	recorder *recorder
	out      outlets

	now      zones.Instant
	doubt    string        // why the clock is not trusted
	ticked   time.Duration // Mono of the last tick
	changed  bool          // since the last look of the publisher
	sent     uint64        // commands that the field took
	breach   *zones.Breach
	arrivals []field.Arrival
}

// look reads the clock; a jump of the wall clock is journalled.
func (l *loop) look() {
	wall, mono := l.clock.Now()
	mono = max(mono, l.now.Mono)
	ok, doubt, jump := l.trust.look(wall, mono)
	l.now, l.doubt = zones.Instant{Wall: wall, Mono: mono, Trusted: ok}, doubt
	if jump != nil {
		l.out.entry(wall, &zones.Entry{Kind: "clock-step", Because: fmt.Sprintf("the wall clock stepped by %s", jump.By.Round(time.Millisecond))})
	}
}

// step gives the room one event of now and carries out what follows from it.
func (l *loop) step(ev zones.Event) {
	l.look()
	l.take(ev)
}

// stepAt gives the room an event that arrived a moment ago, at its own time.
func (l *loop) stepAt(arrived time.Duration, ev zones.Event) {
	before := l.now.Mono
	l.look()
	if arrived = max(arrived, before); arrived < l.now.Mono {
		l.now.Wall = l.now.Wall.Add(arrived - l.now.Mono)
		l.now.Mono = arrived
	}
	l.take(ev)
}

func (l *loop) take(ev zones.Event) {
	effects := l.room.Step(l.now, ev)
	l.carry(effects)
	l.out.seen(l.now, ev, effects)
}

// carry carries effects out in their order: first what leaves for valves and ledger
// (neither blocks), then what people read. Each sender gets the processor before the
// next thing is done, so that no command waits for a record or for our bookkeeping.
func (l *loop) carry(effects []zones.Effect) {
	waiting := false
	for _, e := range effects {
		switch e := e.(type) {
		case *zones.Command:
			if l.field.Send(e) {
				l.sent++
			}
			waiting = true
		case *zones.Record:
			if waiting {
				runtime.Gosched()
				waiting = false
			}
			l.write(e)
		case *zones.Breach:
			if l.breach == nil {
				l.breach = e
			}
		}
	}
	if len(effects) > 0 {
		runtime.Gosched()
	}
	l.pass(effects)
}

func (l *loop) write(e *zones.Record) {
	if e.Kind == zones.RecStop && l.breach != nil {
		return // a breach is no clean end
	}
	l.recorder.put(e)
}

// pass passes on what people read.
func (l *loop) pass(effects []zones.Effect) {
	for _, e := range effects {
		switch e := e.(type) {
		case *zones.Record:
			continue // nobody sees it
		case *zones.Entry:
			l.out.entry(l.now.Wall, e)
		case *zones.State:
			l.out.state(e)
		case *zones.Alarm:
			l.out.alarm(e)
		case *zones.Answer:
			l.out.answer(e)
		}
		l.changed = true
	}
}

// pump handles all that has come in, once, and reports whether there was anything.
func (l *loop) pump() (some bool) {
	for _, ev := range l.recorder.take() {
		l.step(ev)
		some = true
	}
	l.arrivals = l.field.Drain(l.arrivals[:0])
	for i := range l.arrivals {
		l.stepAt(l.arrivals[i].Arrived, l.arrivals[i].Event)
		some = true
	}
	clear(l.arrivals)
	return some
}

// tick lets the room see the time.
func (l *loop) tick() {
	l.step(&zones.Tick{})
	l.ticked = l.now.Mono
}

// due gives the Mono of the next tick.
func (l *loop) due() time.Duration {
	return max(l.ticked+tickGap, min(l.ticked+tickEvery, l.room.Next()))
}

// proven reports whether the last step left every invariant standing: only then
// may the watchdog be fed.
func (l *loop) proven() bool { return l.breach == nil }
