package virtual

import (
	"fmt"
	"strings"
	"time"

	"rillgate/zones"
)

// Send steps an event as it is: a reading, an order.
func (w *World) Send(ev zones.Event) { w.send(ev) }

// Valve is what a trace or a script says of a valve's reports.
type Valve struct {
	ID      string // of the valve, or "<supply>-master"
	Open    bool
	FlowLPM float64 // negative = not metered
	Obeys   bool    // the valve reports its contact again
}

// Report fixes what a valve shows from now on; its controller says so at once and
// each second.
func (w *World) Report(v Valve) error {
	at, ok := outputOf(w.plan, v.ID)
	if !ok {
		return fmt.Errorf("find valve %q: the plan has %s", v.ID, strings.Join(valveIDs(w.plan), ", "))
	}
	c := w.controller(at.Controller)
	o := c.output(at.Number)
	o.told, o.shows, o.flow = !v.Obeys, v.Open, v.FlowLPM
	w.tell(c)
	return nil
}

// Controller takes a controller off the line or back on it; boot, when it differs
// from the present one, says that it started anew with all outputs closed.
func (w *World) Controller(id string, online bool, boot string) error {
	c := w.controller(id)
	if c == nil {
		return fmt.Errorf("find controller %q: the plan has %s", id, strings.Join(w.controllerIDs(), ", "))
	}
	was := c.Online
	c.Online = online
	if boot != "" && boot != c.boot {
		w.dropAll(c)
		c.reboot(w.mono(), boot)
	}
	if !w.brokerUp || was == online && boot == "" {
		return nil
	}
	w.send(&zones.Status{Controller: id, Online: online})
	if online {
		w.tellInputs(c, false)
		w.tell(c)
	}
	return nil
}

// dropAll tells that every contact of a controller opens, as at a loss of power.
func (w *World) dropAll(c *Controller) {
	for _, n := range c.openOutputs() {
		w.observer.Physical(w.Now(), zones.Output{Controller: c.ID, Number: n}, false)
	}
}

// Deafen lets a controller's commands get lost, or arrive again.
func (w *World) Deafen(id string, deaf bool) error {
	c := w.controller(id)
	if c == nil {
		return fmt.Errorf("find controller %q: the plan has %s", id, strings.Join(w.controllerIDs(), ", "))
	}
	c.Deaf = deaf
	return nil
}

// Silence takes a controller off the line without a word, as a cut cable does before
// anybody notices.
func (w *World) Silence(id string) error {
	c := w.controller(id)
	if c == nil {
		return fmt.Errorf("find controller %q: the plan has %s", id, strings.Join(w.controllerIDs(), ", "))
	}
	c.Online = false
	return nil
}

// Input moves a contact.
func (w *World) Input(id string, active bool) error {
	in := w.input(id)
	if in == nil {
		return fmt.Errorf("find input %q: the plan has %s", id, strings.Join(w.inputIDs(), ", "))
	}
	in.active = active
	if w.brokerUp && !in.mute { // whoever says so: an active contact counts at once
		w.send(&zones.InputState{Controller: in.controller, ID: id, Active: active})
	}
	return nil
}

// Mute lets an input fall silent while its controller reports, or be heard again.
func (w *World) Mute(id string, mute bool) error {
	in := w.input(id)
	if in == nil {
		return fmt.Errorf("find input %q: the plan has %s", id, strings.Join(w.inputIDs(), ", "))
	}
	in.mute = mute
	if mute {
		return nil
	}
	return w.Input(id, in.active)
}

// Broker takes the command connection down or brings it up.
func (w *World) Broker(up bool) {
	if up == w.brokerUp {
		return
	}
	w.brokerUp, w.linked = up, up
	w.send(&zones.BrokerLink{Up: up})
	if up {
		w.tellAll()
		w.tellStanding(false)
	}
}

// Clock sets whether the wall clock is trusted and steps it. The room ticks at once:
// what it reckoned from the old clock may no longer hold.
func (w *World) Clock(trusted bool, step time.Duration) {
	w.trusted = trusted
	w.step += step
	w.send(&zones.Tick{})
}

// Trusted reports whether the wall clock is trusted.
func (w *World) Trusted() bool { return w.trusted }

// Ledger changes how records are taken; leaving LedgerHolds answers what was held.
func (w *World) Ledger(mode LedgerMode) {
	w.ledger.mode = mode
	if mode == LedgerHolds {
		return
	}
	w.ledger.release()
	if answer := w.ledger.answer(); answer != nil {
		w.send(answer)
	}
}

// Apply puts a plan in force.
func (w *World) Apply(p *zones.Plan) {
	w.plan = p
	w.equip()
	w.send(&zones.NewPlan{Plan: p})
}

// Open reports whether a valve's contact is closed on water: the grants decide,
// not what a trace lets it report.
func (w *World) Open(valve string) bool {
	at, ok := outputOf(w.plan, valve)
	if !ok {
		return false
	}
	o := w.controller(at.Controller).output(at.Number)
	return o != nil && o.open
}

// Foreign lets a controller report the command of another gateway as its last.
func (w *World) Foreign(id string, epoch, seq uint32) error {
	c := w.controller(id)
	if c == nil {
		return fmt.Errorf("find controller %q: the plan has %s", id, strings.Join(w.controllerIDs(), ", "))
	}
	c.epoch, c.seq = epoch, seq
	w.tell(c)
	return nil
}
