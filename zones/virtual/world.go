// Package virtual runs a zones.Room in virtual time against controllers that keep
// their side of the field topics. Replay, the scenario scripts and fault campaigns
// share it; it is pure, and the same calls give the same steps.
//
// The order within one instant:
//
//	grants run out -> what the caller brings, in its order -> reports, inputs -> tick
//
// After every step the ledger answers, then the controllers that acted report,
// both at the same instant, before anything else comes.
package virtual

import (
	"fmt"
	"time"

	"rillgate/zones"
)

// monoAtStart is where Mono stands when a world begins: its origin is arbitrary.
const monoAtStart = 1000 * time.Hour

// settleLimit bounds the steps that one event may lead to within its instant.
const settleLimit = 10000

// Observer sees every step, with its true time. Stepped gets a nil event when a new
// process begins; effects are only good until it returns. Physical tells of a
// contact that moved.
type Observer interface {
	Stepped(at time.Time, now zones.Instant, ev zones.Event, effects []zones.Effect)
	Physical(now zones.Instant, o zones.Output, open bool)
}

// World is one room, its controllers, inputs, broker, ledger and clock, at one
// instant of virtual time.
type World struct {
	// EverySecond sends a tick each second, also where the room says that it has
	// nothing to do.
	EverySecond bool
	// RetainedFirst lets what the broker keeps reach a new process before its link
	// counts as up and before any report, instead of after the first reports.
	RetainedFirst bool

	plan     *zones.Plan
	room     *zones.Room
	observer Observer

	origin  time.Time     // true time at the start
	since   time.Duration // true time passed since
	done    bool          // the grid second at since has had its reports and tick
	step    time.Duration // wall clock less true time
	trusted bool

	brokerUp    bool
	linked      bool // the process has its command connection: never before it began
	controllers []*Controller
	inputs      []input
	ledger      ledger
	pending     []zones.Event
	breach      *zones.Breach
}

// input is a contact and what it stands at.
type input struct {
	controller, id string
	active         bool
	mute           bool // nothing is heard of it, not even what stood
}

// New starts a room on a fresh ledger at a true time, with the clock trusted, the
// broker up, every controller online and every input inactive.
func New(plan *zones.Plan, start time.Time, o Observer) *World {
	w := &World{
		plan: plan, observer: o, origin: start.UTC(), trusted: true, brokerUp: true,
		ledger: ledger{memory: zones.NewMemory()},
	}
	w.equip()
	w.boot()
	return w
}

// equip gives the world the controllers, outputs and inputs of the plan that it
// does not have yet; what is there keeps its state.
func (w *World) equip() {
	for i := range w.plan.Controllers {
		pc := &w.plan.Controllers[i]
		numbers := outputsOf(w.plan, pc.ID)
		if c := w.controller(pc.ID); c != nil {
			c.extend(numbers)
		} else {
			w.controllers = append(w.controllers, newController(pc.ID, numbers, w.mono()-time.Minute))
		}
		for _, in := range pc.Inputs {
			if w.input(in.ID) == nil {
				w.inputs = append(w.inputs, input{controller: pc.ID, id: in.ID})
			}
		}
	}
}

// outputsOf lists the outputs of a controller that the plan uses.
func outputsOf(p *zones.Plan, controller string) []int {
	var numbers []int
	for i := range p.Valves {
		if o := p.Valves[i].Output; o.Controller == controller {
			numbers = append(numbers, o.Number)
		}
	}
	for i := range p.Supplies {
		if m := p.Supplies[i].Master; m != nil && m.Output.Controller == controller {
			numbers = append(numbers, m.Output.Number)
		}
	}
	if h := p.Healthy; h != nil && h.Controller == controller {
		numbers = append(numbers, h.Number)
	}
	return numbers
}

// Restart is a crash and a new process at the same instant: what the ledger did
// not answer for is forgotten, the controllers go on.
func (w *World) Restart() {
	w.pending = w.pending[:0]
	w.ledger.crash()
	w.boot()
}

// boot starts a process and lets the broker tell it what stands.
func (w *World) boot() {
	first := w.room == nil
	w.linked = false
	room, effects := zones.NewRoom(w.plan, w.ledger.copy(), w.Now())
	w.room = room
	w.took(nil, effects)
	w.settle()
	if w.brokerUp && !first && w.RetainedFirst {
		w.tellStanding(true)
	}
	w.linked = w.brokerUp
	w.send(&zones.BrokerLink{Up: w.brokerUp})
	w.tellAll()
	if w.brokerUp && !(!first && w.RetainedFirst) {
		w.tellStanding(!first)
	}
}

// tellStanding sends the controllers' status and inputs: as the broker keeps them,
// or live, as controllers do when they connect.
func (w *World) tellStanding(retained bool) {
	for _, c := range w.controllers {
		w.send(&zones.Status{Controller: c.ID, Online: c.Online, Retained: retained})
		w.tellInputs(c, retained)
	}
}

func (w *World) tellAll() {
	for _, c := range w.controllers {
		w.tell(c)
	}
}

// tellInputs sends the inputs of a controller; the broker keeps those of one that
// is away.
func (w *World) tellInputs(c *Controller, retained bool) {
	for _, in := range w.inputs {
		if in.controller == c.ID && !in.mute && (c.Online || retained) {
			w.send(&zones.InputState{Controller: c.ID, ID: in.id, Active: in.active, Retained: retained})
		}
	}
}

// tell sends a controller's report, when it can come through.
func (w *World) tell(c *Controller) {
	if w.brokerUp && c.Online {
		w.send(c.report(w.mono()))
	}
}

// send steps one event and all that follows within the instant.
func (w *World) send(ev zones.Event) {
	w.step1(ev)
	w.settle()
}

func (w *World) step1(ev zones.Event) {
	w.took(ev, w.room.Step(w.Now(), ev))
}

// settle steps what earlier steps led to, until nothing is left.
func (w *World) settle() {
	for n := 0; len(w.pending) > 0; n++ {
		ev := w.pending[0]
		w.pending = append(w.pending[:0], w.pending[1:]...)
		w.step1(ev)
		if n > settleLimit && w.breach == nil {
			w.breach = &zones.Breach{Invariant: "settle", Detail: fmt.Sprintf("more than %d steps followed one event at %s", settleLimit, w.At().Format(time.RFC3339))}
			w.pending = w.pending[:0]
		}
	}
}

// took hands the effects of a step to the ledger and the controllers, and lines up
// their answers.
func (w *World) took(ev zones.Event, effects []zones.Effect) {
	w.observer.Stepped(w.At(), w.Now(), ev, effects)
	acted := make([]*Controller, 0, 2)
	for _, e := range effects {
		switch e := e.(type) {
		case *zones.Record:
			w.ledger.append(e)
		case *zones.Command:
			if c := w.deliver(e); c != nil {
				acted = appendOnce(acted, c)
			}
		case *zones.Breach:
			if w.breach == nil {
				b := *e
				w.breach = &b
			}
		}
	}
	if answer := w.ledger.answer(); answer != nil {
		w.pending = append(w.pending, answer)
	}
	for _, c := range acted {
		w.pending = append(w.pending, c.report(w.mono()))
	}
}

func appendOnce(list []*Controller, c *Controller) []*Controller {
	for _, have := range list {
		if have == c {
			return list
		}
	}
	return append(list, c)
}

// deliver brings a command to its controller and gives the controller when a
// report is due at once: a told output shows itself only each second.
func (w *World) deliver(cmd *zones.Command) *Controller {
	c := w.controller(cmd.Output.Controller)
	if c == nil || !w.linked || !c.Online || c.Deaf {
		return nil
	}
	o := c.output(cmd.Output.Number)
	was := o != nil && o.open
	if !c.act(w.mono(), cmd) {
		return nil
	}
	if o.open != was {
		w.observer.Physical(w.Now(), cmd.Output, o.open)
	}
	if o.told {
		return nil
	}
	return c
}
