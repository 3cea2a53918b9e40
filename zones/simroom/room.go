// Package simroom is a simulated growing room: water in the substrate, emitters,
// probes, controllers with their outputs and inputs, and faults on request. It is
// pure and deterministic: time is what Advance is told, every random number comes
// from the seed, and the same calls give the same answers.
//
//	Command -> controller -> output -> valve -> emitters -> bucket -> probe -> Reading
//	                 '-> Report          master, supply --'      '-> uptake, evaporation, drain
//
// A bucket is the substrate of one plant. Every probe sits in a bucket of its own;
// one more bucket a valve stands for the plants without a probe. Between two changes
// (valve, lights, fault) the water in a bucket follows a linear law that is solved
// exactly, so that a step may be as long as nothing happens.
package simroom

import (
	"time"

	"rillgate/zones"
)

// Never is later than anything that is due.
const Never = time.Duration(1<<63 - 1)

// Out is one message of a controller: a *zones.Reading, *zones.Report,
// *zones.Status or *zones.InputState, and when it left (since the room began). It
// may be kept.
type Out struct {
	At         time.Duration
	Controller string
	Event      zones.Event
}

// Room is a simulated room at one instant. It is not safe for concurrent use.
type Room struct {
	plan        *zones.Plan
	o           Options
	now         time.Duration
	lit         bool
	litAsk      time.Duration // when the lights are asked again
	zones       []*zone
	controllers []*controller
	supplies    []*supply
	probes      []*probe
	faults      []timedFault // in order of time, from nextFault on still to come
	nextFault   int
	happened    []Happening
	outs        []Out
	made        arena
	soon        time.Duration // what due gives, while soonKnown
	soonKnown   bool
}

// New makes the room of a plan. It fails on a fault that names what the plan does
// not have. At time 0 every controller is up, on the air and has all outputs closed.
func New(p *zones.Plan, o Options) (*Room, error) {
	o = o.filled()
	r := &Room{plan: p, o: o}
	r.makeControllers()
	r.makeSupplies()
	r.makeZones()
	r.makeTerminals()
	r.made.ring = make([]zones.Report, o.KeepReports)
	r.askLights()
	for _, z := range r.zones {
		z.air = z.airTarget(r.lit)
	}
	for _, f := range o.Faults {
		if err := r.Inject(f); err != nil {
			return nil, err
		}
	}
	for _, c := range r.controllers {
		r.announce(c)
	}
	return r, nil
}

// Now gives the time since the room began.
func (r *Room) Now() time.Duration { return r.now }

// Wall gives the true time of an instant of the room.
func (r *Room) Wall(t time.Duration) time.Time { return r.o.Start.Add(t) }

// LightsOn reports whether the lights are on now.
func (r *Room) LightsOn() bool { return r.lit }

// Next gives the next instant at which anything happens by itself: at once when
// messages wait to be taken by Advance.
func (r *Room) Next() time.Duration {
	if len(r.outs) > 0 {
		return r.now
	}
	return r.due()
}

// Advance lets time pass up to `to` and gives what the controllers sent meanwhile,
// in order, answers to commands first. The slice is only good until the next
// Advance; the events in it may be kept, unless Options.KeepReports says
// otherwise. A `to` in the past counts as now.
func (r *Room) Advance(to time.Duration) []Out {
	for {
		t := r.due()
		if t > to {
			break
		}
		r.now = max(t, r.now)
		r.happen()
	}
	r.now = max(to, r.now)
	out := r.outs
	r.outs = r.made.spare[:0]
	r.made.spare = out
	return out
}

// due gives the next instant at which something happens, Never if nothing does.
func (r *Room) due() time.Duration {
	if r.soonKnown {
		return r.soon
	}
	t := r.litAsk
	if r.nextFault < len(r.faults) {
		t = min(t, r.faults[r.nextFault].at)
	}
	for _, c := range r.controllers {
		t = min(t, c.due())
	}
	r.soon, r.soonKnown = t, true
	return t
}

// happen does everything due now: the world first, then the controllers.
func (r *Room) happen() {
	r.soonKnown = false
	if r.litAsk <= r.now {
		r.askLights()
	}
	for r.nextFault < len(r.faults) && r.faults[r.nextFault].at <= r.now {
		f := r.faults[r.nextFault]
		r.nextFault++
		r.turn(f)
	}
	for _, c := range r.controllers {
		r.work(c)
	}
}

// askLights switches the lights as they are due; inputs that mean lights follow.
func (r *Room) askLights() {
	on, until := r.o.lights(r.plan, r.now)
	r.litAsk = until
	if on == r.lit {
		return
	}
	r.settle()
	r.lit = on
	for _, c := range r.controllers {
		r.sendChangedInputs(c)
	}
}

// settle brings the water of every zone up to now; it goes before any change.
func (r *Room) settle() {
	for _, z := range r.zones {
		r.settleZone(z)
	}
}

// send puts a message on the wire, unless its controller is off the air.
func (r *Room) send(c *controller, ev zones.Event) {
	if !c.onAir() {
		return
	}
	r.outs = append(r.outs, Out{At: r.now, Controller: c.id, Event: ev})
}

// arena hands out messages from blocks, so that a message costs no allocation of
// its own and may still be kept.
type arena struct {
	ring     []zones.Report // of Options.KeepReports
	next     int
	spare    []Out
	readings []zones.Reading
	inputs   []zones.InputState
	reports  []zones.Report
	outputs  []zones.OutputReport
}

func (a *arena) reading() *zones.Reading { return oneOf(&a.readings) }

func (a *arena) input() *zones.InputState { return oneOf(&a.inputs) }

// oneOf takes one message from a block, and a new block where none is left.
func oneOf[T any](block *[]T) *T {
	if len(*block) == 0 {
		*block = make([]T, 256)
	}
	x := &(*block)[0]
	*block = (*block)[1:]
	return x
}

// report gives one with so many outputs, of which the caller sets each.
func (a *arena) report(outputs int) *zones.Report {
	if len(a.ring) > 0 {
		x := &a.ring[a.next]
		a.next = (a.next + 1) % len(a.ring)
		if x.Retained = false; cap(x.Outputs) < outputs {
			x.Outputs = make([]zones.OutputReport, outputs)
		}
		x.Outputs = x.Outputs[:outputs]
		return x
	}
	if len(a.outputs) < outputs {
		a.outputs = make([]zones.OutputReport, 128*max(outputs, 1))
	}
	x := oneOf(&a.reports)
	x.Outputs = a.outputs[:outputs:outputs]
	a.outputs = a.outputs[outputs:]
	return x
}
