package campaign

import (
	"fmt"
	"time"

	"rillgate/zones"
	"rillgate/zones/simroom"
	"rillgate/zones/zonetest"
)

// monoOrigin is where Mono stands at the beginning: it must not matter.
const monoOrigin = 1000 * time.Hour

// stepsAtOnce is more than what five minutes of waiting messages lead to.
const stepsAtOnce = 20000

// lookedAtMost is more often than a case of days looks for what happens next: one that goes
// on beyond it is never done.
const lookedAtMost = 30_000_000

// world is one case under way.
type world struct {
	c   *Case
	set *setup
	sim *simroom.Room
	now time.Duration

	room    *zones.Room
	plan    *zones.Plan // the files in force
	alive   bool
	stalled time.Duration // the process stands still until then
	inbox   []zones.Event // what came meanwhile
	cut     int           // crash after so many effects of the next step; -1 = not
	cutFor  time.Duration
	roomAt  time.Duration // what the room gives as its next instant, after
	roomOf  int           // so many steps
	busyAt  time.Duration
	busy    int // steps at that instant
	lives   int

	queue  queue
	wire   wire
	disk   disk
	clock  clock
	people people
	armed  []Fault // wait for an opening
	next   int     // next fault of the case
	looks  int     // for what happens next

	checker *zonetest.Checker
	model   *model
	calm    calm
	tale    *tale
	result  *Result
}

// Result is what came of a case.
type Result struct {
	Err      error
	At       time.Duration // when it showed
	Days     float64
	Steps    int
	Openings int
	Lives    int // processes begun
	Reasons  map[zones.Reason]int
	Happened map[string]int             // faults that began, by kind
	Dry      map[string][]time.Duration // when the alarm dry came, by zone
	Calm     int                        // openings after all faults had stopped
	AtOnce   int                        // steps that had to close all, with something open
	Waters   []Watering                 // in the order of their openings
	Begun    []Fault                    // those of Happened, each at the instant at which it began
	Hash     uint64                     // of all that happened: the same for the same case
	Tale     []string                   // the last steps before a violation
}

// Run plays a case to its end, or to the first violation.
func Run(c *Case) *Result {
	w := newWorld(c)
	w.boot()
	for w.result.Err == nil && w.now < c.end() {
		w.advance(min(c.end(), w.soonest()))
	}
	w.end()
	w.result.Days = w.now.Hours() / 24
	w.result.Tale = w.tale.lines()
	return w.result
}

func newWorld(c *Case) *world {
	set := newSetup(c)
	sim, err := simroom.New(set.plans[0], set.options)
	w := &world{
		c: c, set: set, sim: sim, plan: set.plans[0], cut: -1,
		checker: zonetest.NewChecker(set.plans[0]),
		result:  &Result{Err: err, Reasons: map[zones.Reason]int{}, Happened: map[string]int{}, Dry: map[string][]time.Duration{}},
		tale:    &tale{},
	}
	w.model = newModel(w)
	w.disk.memory = zones.NewMemory()
	w.wire.begin()
	w.calm.begin()
	return w
}

// instant is now as the process sees it.
func (w *world) instant() zones.Instant {
	return zones.Instant{
		Wall: w.sim.Wall(w.now + w.clock.off), Mono: monoOrigin + w.now,
		Trusted: w.clock.untrusted == 0 && w.now >= w.clock.trustAt,
	}
}

// soonest is the next instant at which anything happens.
func (w *world) soonest() time.Duration {
	t := min(w.sim.Next(), w.queue.next(), w.model.next())
	if w.next < len(w.c.Faults) {
		t = min(t, w.c.Faults[w.next].At)
	}
	if w.alive && w.stalled <= w.now {
		t = min(t, w.tickAt())
	}
	return max(t, w.now)
}

// tickAt is when the process ticks next: when the room has work, at a whole second.
func (w *world) tickAt() time.Duration {
	if w.roomOf != w.result.Steps {
		w.roomAt, w.roomOf = w.room.Next()-monoOrigin, w.result.Steps
	}
	t := max(w.roomAt, w.now)
	if w.set.grid && t < simroom.Never-monoOrigin {
		t = (t + time.Second - 1).Truncate(time.Second)
	}
	return t
}

// advance lets time pass to an instant and does all that is due at it.
func (w *world) advance(to time.Duration) {
	if w.looks++; w.looks > lookedAtMost {
		w.failf("settle: the case is never done: at %s it has looked %d times for what comes next", w.now, w.looks)
	}
	outs := w.sim.Advance(to)
	w.now = to
	w.model.look()
	for i := range outs {
		w.up(&outs[i])
	}
	for w.next < len(w.c.Faults) && w.c.Faults[w.next].At <= w.now {
		f := w.c.Faults[w.next]
		w.next++
		if f.OnOpen {
			w.armed = append(w.armed, f)
		} else {
			w.begin(f)
		}
	}
	w.queue.run(w)
	if w.alive && w.stalled <= w.now && w.tickAt() <= w.now {
		w.step(&zones.Tick{})
	}
	if w.now < w.c.end() {
		w.calm.look(w)
	}
}

// give brings an event to the process, now or when it goes on.
func (w *world) give(ev zones.Event) {
	switch {
	case !w.alive:
	case w.stalled > w.now:
		w.inbox = append(w.inbox, ev)
	default:
		w.step(ev)
	}
}

func (w *world) step(ev zones.Event) {
	at := w.instant()
	w.took(at, ev, w.room.Step(at, ev))
}

// took hands out the effects of a step, and looks whether all invariants hold.
func (w *world) took(at zones.Instant, ev zones.Event, effects []zones.Effect) {
	crash := w.cut >= 0 && len(effects) > 0
	if crash {
		effects = effects[:min(w.cut, len(effects))]
		w.cut = -1
	}
	w.result.Steps++
	w.hurry(ev)
	w.tale.step(w.now, ev, effects)
	w.result.Hash = hashed(w.result.Hash, w.now, ev, effects)
	if w.c.spoil != nil {
		for _, e := range effects {
			w.c.spoil(w.lives, e)
		}
	}
	w.checker.Observe(at, ev, effects)
	for _, e := range effects {
		w.effect(e)
	}
	w.model.stepped(ev, effects, crash)
	w.fail(w.checker.Err())
	if crash {
		w.crash(w.cutFor, 1)
	}
}

// hurry finds a room that is never done at one instant.
func (w *world) hurry(ev zones.Event) {
	if w.busyAt != w.now {
		w.busyAt, w.busy = w.now, 0
	}
	if w.busy++; w.busy > stepsAtOnce {
		w.failf("settle: more than %d steps at one instant, the last for a %T", stepsAtOnce, ev)
	}
}

func (w *world) effect(e zones.Effect) {
	switch e := e.(type) {
	case *zones.Record:
		w.record(e)
	case *zones.Command:
		w.result.Reasons[e.Reason]++
		w.down(e, false)
		w.watering(e)
		if e.Open && w.model.opens(e) {
			w.result.Openings++
			w.opening()
		}
	case *zones.State:
		w.result.Reasons[e.Reason]++
	case *zones.Alarm:
		w.result.Reasons[e.Code]++
	case *zones.Answer:
		w.result.Reasons[e.Reason]++
	case *zones.Entry:
		w.result.Reasons[e.Reason]++
	}
	w.calm.effect(w, e)
}

// opening lets the faults come that waited for one.
func (w *world) opening() {
	for _, f := range w.armed {
		f := f
		w.queue.push(w.now+f.Delay, func(w *world) { w.begin(f) })
	}
	w.armed = w.armed[:0]
}

func (w *world) fail(err error) {
	if err != nil && w.result.Err == nil {
		w.result.Err, w.result.At = err, w.now
	}
}

func (w *world) failf(format string, args ...any) { w.fail(fmt.Errorf(format, args...)) }

// boot begins a process: the ledger's memory, then the link, what the broker keeps,
// and live messages as they come.
func (w *world) boot() {
	w.alive, w.stalled, w.inbox, w.cut = true, 0, nil, -1
	w.lives++
	w.result.Lives++
	w.calm.newProcess()
	at := w.instant()
	room, effects := zones.NewRoom(w.plan, w.restored(), at)
	w.room = room
	w.took(at, nil, effects)
	if w.wire.up {
		w.link()
	}
}

// end tells the process to end and looks whether the books are closed.
func (w *world) end() {
	if w.result.Err != nil || !w.alive || w.stalled > w.now || w.cut >= 0 {
		return
	}
	w.step(&zones.Shutdown{})
	for to := w.now + 5*time.Second; w.now < to && w.result.Err == nil; {
		w.advance(min(to, w.soonest()))
	}
	if w.alive {
		w.checker.End()
		w.fail(w.checker.Err())
	}
}
