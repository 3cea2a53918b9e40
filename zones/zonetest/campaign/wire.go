package campaign

import (
	"time"

	"rillgate/zones"
	"rillgate/zones/simroom"
)

// kept is how many old messages of a kind are there to come again. Up to eight times as
// many are held, and what is on its way besides, which is six minutes of reports at most
// (a stall, and a delay): some 200 of each controller.
const kept = 64

// wire is the broker and the network around it.
type wire struct {
	up       bool
	faults   []Fault // loss, repeats, delay, reorder that stand
	lastUp   map[string]time.Duration
	lastDown map[string]time.Duration
	last     time.Duration       // of both, the latest
	inputs   []*zones.InputState // what the broker keeps
	status   []*zones.Status
	reports  []*zones.Report
	readings []*zones.Reading
	commands []*zones.Command
	sent     int
}

func (n *wire) begin() {
	n.up = true
	n.lastUp, n.lastDown = map[string]time.Duration{}, map[string]time.Duration{}
}

// hit gives what the standing faults of a kind do at most to a controller's messages.
func (n *wire) hit(kind, controller string) float64 {
	most := 0.0
	for i := range n.faults {
		if f := &n.faults[i]; f.Kind == kind && (f.Subject == "" || f.Subject == controller) {
			most = max(most, f.Value)
		}
	}
	return most
}

// up takes a controller's message on its way to the process.
func (w *world) up(o *simroom.Out) {
	if !w.wire.up {
		return
	}
	w.wire.keep(o.Event)
	ev := o.Event
	if len(w.wire.faults) == 0 && (w.wire.last <= w.now || w.wire.lastUp[o.Controller] <= w.now) {
		w.give(ev)
		return
	}
	w.travel("up", o.Controller, w.wire.lastUp, func(w *world) {
		if w.wire.up {
			w.give(ev)
		}
	})
}

// down takes a command on its way to its controller.
func (w *world) down(cmd *zones.Command, foreign bool) {
	if !w.wire.up {
		return
	}
	if !foreign {
		w.wire.commands = lastOf(append(w.wire.commands, cmd))
	}
	if len(w.wire.faults) == 0 && (w.wire.last <= w.now || w.wire.lastDown[cmd.Output.Controller] <= w.now) {
		w.deliver(cmd, foreign)
		return
	}
	w.travel("down", cmd.Output.Controller, w.wire.lastDown, func(w *world) {
		if w.wire.up {
			w.deliver(cmd, foreign)
		}
	})
}

func (w *world) deliver(cmd *zones.Command, foreign bool) {
	v := w.sim.Command(cmd)
	w.model.commanded(cmd, v == simroom.Acted, foreign)
}

// travel loses, delays and repeats a message as the faults that stand say.
func (w *world) travel(way, controller string, last map[string]time.Duration, arrive func(*world)) {
	n := &w.wire
	n.sent++
	by := func(what string) float64 { return chanceAt(w.c.Seed, way+what+controller, w.now, n.sent) }
	if by("loss") < n.hit(NetLoss, controller) {
		return
	}
	late := time.Duration(by("delay") * n.hit(NetDelay, controller) * float64(time.Second)).Truncate(time.Millisecond)
	at := max(w.now+late, last[controller])
	last[controller], n.last = at, max(n.last, at)
	if r := n.hit(NetReorder, controller); r > 0 {
		at = w.now + time.Duration(by("reorder")*r*float64(time.Second)).Truncate(time.Millisecond)
	}
	w.queue.push(at, arrive)
	if by("repeat") < n.hit(NetRepeat, controller) {
		w.queue.push(at+time.Duration(by("again")*float64(time.Minute)).Truncate(time.Millisecond), arrive)
	}
}

// keep is what the broker keeps, and what may come again later.
func (n *wire) keep(ev zones.Event) {
	switch ev := ev.(type) {
	case *zones.InputState:
		for i, old := range n.inputs {
			if old.Controller == ev.Controller && old.ID == ev.ID {
				n.inputs[i] = ev
				return
			}
		}
		n.inputs = append(n.inputs, ev)
	case *zones.Status:
		for i, old := range n.status {
			if old.Controller == ev.Controller {
				n.status[i] = ev
				return
			}
		}
		n.status = append(n.status, ev)
	case *zones.Report:
		n.reports = lastOf(append(n.reports, ev))
	case *zones.Reading:
		n.readings = lastOf(append(n.readings, ev))
	}
}

// lastOf cuts a list to its last entries, now and then.
func lastOf[T any](list []T) []T {
	if len(list) < 8*kept {
		return list
	}
	return list[:copy(list, list[len(list)-kept:])]
}

// link tells the process that its connection stands, and what the broker keeps.
func (w *world) link() {
	w.give(&zones.BrokerLink{Up: true})
	for _, s := range w.wire.status {
		c := *s
		c.Retained = true
		w.give(&c)
	}
	for _, in := range w.wire.inputs {
		c := *in
		c.Retained = true
		w.give(&c)
	}
}

// brokerDown cuts all connections; the process notices some time later.
func (w *world) brokerDown(f Fault) {
	if !w.wire.up {
		return
	}
	w.wire.up = false
	notice := min(time.Duration(f.Value*float64(time.Second)), f.For)
	w.queue.push(w.now+notice, func(w *world) {
		if !w.wire.up {
			w.give(&zones.BrokerLink{})
		}
	})
	w.queue.push(w.now+f.For, func(w *world) {
		w.wire.up = true
		w.give(&zones.BrokerLink{})
		w.link()
		for i := range w.set.plans[0].Controllers {
			w.sim.Announce(w.set.plans[0].Controllers[i].ID)
		}
	})
}

// replay lets old messages come again, live or with the retain flag.
func (w *world) replay(f Fault) {
	n, many := &w.wire, int(f.Value)
	switch f.Kind {
	case RetainedReading, ReplayReadings:
		for _, r := range w.oldReadings(f.Subject, many) {
			c := *r
			c.Retained = f.Kind == RetainedReading
			w.give(&c)
		}
	case ReplayReports, RetainedReport:
		for _, r := range n.reports[max(0, len(n.reports)-8*many):] {
			if c := *r; c.Controller == f.Subject {
				c.Retained = f.Kind == RetainedReport
				w.give(&c)
			}
		}
	case RetainedStatus:
		w.give(&zones.Status{Controller: f.Subject, Retained: true})
	case ReplayCommands:
		for _, cmd := range n.commands[max(0, len(n.commands)-many):] {
			w.deliver(cmd, false)
		}
	}
}

// oldReadings are those of a probe or of a zone's probes, oldest first.
func (w *world) oldReadings(subject string, many int) []*zones.Reading {
	var list []*zones.Reading
	for _, r := range w.wire.readings {
		for i := range w.set.plans[0].Probes {
			if p := &w.set.plans[0].Probes[i]; p.Place == r.Place && (p.ID == subject || p.Zone == subject) {
				list = append(list, r)
			}
		}
	}
	return list[max(0, len(list)-many):]
}
