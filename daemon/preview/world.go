package preview

import (
	"context"
	"fmt"
	"slices"
	"time"

	"rillgate/zones"
	"rillgate/zones/simroom"
)

// world is the core over the simulated room, with a ledger and a network that are
// always there.
type world struct {
	o        *Options
	plan     *zones.Plan
	sim      *simroom.Room
	core     *zones.Room
	todo     []zones.Event
	from, to time.Duration // of the room's time, what is shown
	books    map[string]*book
	alarms   []Alarm
	breach   *zones.Breach
}

// lookEvery is how far apart two points of the result are. While the simulation wakes
// its probes and controllers are not all heard yet: what that refuses is not counted.
const (
	lookEvery = time.Minute
	waking    = 5 * time.Minute
)

func (w *world) now() zones.Instant {
	return zones.Instant{Wall: w.sim.Wall(w.sim.Now()), Mono: w.sim.Now(), Trusted: true}
}

// shown reports whether what happens now belongs to the result.
func (w *world) shown() bool { return w.sim.Now() >= w.from }

// begin starts the core on a fresh memory, and tells it what zones have taught.
func (w *world) begin(plan *zones.Plan) {
	core, effects := zones.NewRoom(plan, zones.NewMemory(), w.now())
	w.core = core
	w.act(effects)
	if w.o.Taught != nil {
		for i := range plan.Zones {
			if l, ok := w.o.Learned[plan.Zones[i].ID]; ok {
				t := w.o.Taught(&l)
				t.Zone = plan.Zones[i].ID
				w.todo = append(w.todo, &t)
			}
		}
	}
	w.todo = append(w.todo, &zones.BrokerLink{Up: true})
}

// live lets time pass to the end, with a look at the room every minute.
func (w *world) live(ctx context.Context) error {
	for next := lookEvery; ; next += lookEvery {
		w.until(min(next, w.to))
		if b := w.breach; b != nil {
			return fmt.Errorf("simulate the schedule: %s at %s: %s", b.Invariant, w.now().Wall.Format(time.RFC3339), b.Detail)
		}
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("simulate the schedule: %w", err)
		}
		w.look()
		if w.sim.Now() >= w.to {
			return nil
		}
	}
}

// until lets both live up to an instant; the core ticks once a second at most.
func (w *world) until(end time.Duration) {
	for w.sim.Now() < end {
		w.settle()
		next := min(end, w.sim.Next(), max(w.sim.Now()+time.Second, w.core.Next()))
		outs := w.sim.Advance(next)
		for _, o := range outs {
			w.todo = append(w.todo, o.Event)
		}
		w.todo = append(w.todo, &zones.Tick{})
	}
	w.settle()
}

// settle steps all that is due at this instant.
func (w *world) settle() {
	for len(w.todo) > 0 {
		ev := w.todo[0]
		w.todo = w.todo[1:]
		w.act(w.core.Step(w.now(), ev))
	}
}

func (w *world) act(effects []zones.Effect) {
	for _, e := range effects {
		switch e := e.(type) {
		case *zones.Record:
			w.todo = append(w.todo, &zones.Recorded{Seq: e.Seq})
		case *zones.Command:
			w.sim.Command(e)
		case *zones.Entry:
			w.entry(e)
		case *zones.Alarm:
			w.alarm(e)
		case *zones.Breach:
			if w.breach == nil {
				b := *e
				w.breach = &b
			}
		}
	}
}

// entry writes runs into their zone's book.
func (w *world) entry(e *zones.Entry) {
	b := w.books[e.Zone]
	if b == nil {
		return
	}
	switch e.Kind {
	case "run-opened":
		b.opened(w.now().Wall, e)
	case "run-closed":
		b.closed(w.now().Wall, e, w.shown())
	}
}

// alarm keeps what would have been raised, and what stands when that begins which is
// shown. What the simulated room makes up itself, salts and temperatures, raises
// nothing here.
func (w *world) alarm(e *zones.Alarm) {
	if e.Code == zones.AlarmPoreEC || e.Code == zones.AlarmRootWarmth {
		return
	}
	i := slices.IndexFunc(w.alarms, func(a Alarm) bool { return a.Code == e.Code && a.Subject == e.Subject })
	switch {
	case e.Active && i < 0:
		w.alarms = append(w.alarms, Alarm{At: w.now().Wall, Code: e.Code, Subject: e.Subject, Because: e.Because, Times: 1})
	case e.Active:
		w.alarms[i].Times++
	case i >= 0 && !w.shown():
		w.alarms = slices.Delete(w.alarms, i, i+1)
	}
}

// look takes the zones' moisture.
func (w *world) look() {
	v := w.core.View(w.now())
	for i := range v.Zones {
		z := &v.Zones[i]
		b := w.books[z.ID]
		truth, _ := w.sim.Truth(z.ID)
		if w.sim.Now() < max(w.from, waking) {
			b.ahead(z, &truth)
		}
		if !w.shown() {
			continue
		}
		b.look(v.Wall, z, &truth)
	}
}
