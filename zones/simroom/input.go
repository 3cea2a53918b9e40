package simroom

import "rillgate/zones"

// input is a contact of a controller.
type input struct {
	plan   *zones.Input
	forced int // faults that make it active
	silent int // faults that keep its messages back
	sent   bool
	last   bool
}

func (r *Room) makeInputs() {
	for _, c := range r.controllers {
		p := r.planned(c.id)
		for i := range p.Inputs {
			c.inputs = append(c.inputs, &input{plan: &p.Inputs[i]})
		}
	}
}

func (r *Room) planned(id string) *zones.Controller {
	for i := range r.plan.Controllers {
		if r.plan.Controllers[i].ID == id {
			return &r.plan.Controllers[i]
		}
	}
	return nil
}

// active reports what the input says now.
func (r *Room) active(in *input) bool {
	if in.forced > 0 {
		return true
	}
	switch in.plan.Means {
	case zones.Lights:
		return r.lit
	case zones.SupplyLow:
		for _, s := range r.supplies {
			if s.plan.Low == in.plan.ID && s.low > 0 {
				return true
			}
		}
	}
	return false
}

// sendInputs sends every input, as is due at connect and every period.
func (r *Room) sendInputs(c *controller) {
	r.soonKnown = false
	c.nextInputs = r.now + r.o.InputPeriod
	for _, in := range c.inputs {
		r.sendInput(c, in)
	}
}

// sendChangedInputs sends the inputs that say something else than they last said.
func (r *Room) sendChangedInputs(c *controller) {
	for _, in := range c.inputs {
		if in.sent && r.active(in) != in.last {
			r.sendInput(c, in)
		}
	}
}

func (r *Room) sendInput(c *controller, in *input) {
	if !c.onAir() || in.silent > 0 {
		return
	}
	in.sent, in.last = true, r.active(in)
	m := r.made.input()
	m.Controller, m.ID, m.Active = c.id, in.plan.ID, in.last
	r.send(c, m)
}

// announce is what a controller says when it comes on the air.
func (r *Room) announce(c *controller) {
	r.send(c, &zones.Status{Controller: c.id, Online: true})
	r.sendInputs(c)
	r.report(c)
}

// Announce makes a controller say all that it says at connect, for a shell that lost
// its connection and has it again. It reports whether there is such a controller on
// the air; what is said comes with the next Advance.
func (r *Room) Announce(id string) bool {
	c := r.controller(id)
	if c == nil || !c.onAir() {
		return false
	}
	r.announce(c)
	return true
}
