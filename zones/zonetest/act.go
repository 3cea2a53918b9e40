package zonetest

import (
	"strconv"
	"strings"
	"time"

	"rillgate/zones"
	"rillgate/zones/virtual"
)

// act plays a command that brings something to the room:
//
//	at 06:00 | at 2027-03-14 01:30     let time pass until then
//	run 10m                            let time pass
//	reading a1 28 [retained=true]      one reading of a probe, of each in a zone, or at
//	                                   a place such as north/9/0
//	report a open|closed|obeys [flow=2.5]
//	controller north offline|silent|online|reboots|deaf|hears
//	foreign north 99 [seq=1]           a report with a foreign epoch
//	input leak-1 on|off|silent|heard
//	broker down|up
//	clock unsure|trusted [step=-1h]
//	ledger fails|holds|works
//	order hold a [for=30m] [volume=120] [note=x] [source=mqtt] [subject=end]
//	order walk a [VALVE] | walk-cut a | walk-accept a | walk-reject a MARK | walk-end
//	apply ; zone a max-run=30s ...     room lines after apply, then `in-force`
//	restart [retained-first] | shutdown
func (r *Runner) act(c Line) error {
	switch c.Name {
	case "at":
		return r.at(c)
	case "run":
		d, err := time.ParseDuration(c.arg(0))
		if err != nil {
			return c.fail("%v", err)
		}
		r.advance(r.world.At().Add(d))
		r.world.Finish()
	case "reading":
		return r.reading(c)
	case "report":
		return r.report(c)
	case "controller":
		return r.controller(c)
	case "foreign":
		return r.foreign(c)
	case "input":
		return r.input(c)
	case "broker":
		r.world.Broker(c.arg(0) == "up")
	case "clock":
		return r.clock(c)
	case "ledger":
		return r.ledger(c)
	case "order":
		return r.order(c)
	case "in-force":
		return r.apply(c)
	case "restart":
		r.world.RetainedFirst = c.arg(0) == "retained-first"
		r.world.Restart()
	case "shutdown":
		r.world.Shutdown()
	default:
		return r.change(c)
	}
	return nil
}

// at lets time pass up to a time of day: today's, or tomorrow's when it is over.
func (r *Runner) at(c Line) error {
	now := r.world.At().In(r.plan.Calendar.Location)
	to, err := r.when(c, now.Format("2006-01-02"))
	if err != nil {
		return err
	}
	if !to.After(now) && len(c.Args) == 1 {
		to, err = r.when(c, now.AddDate(0, 0, 1).Format("2006-01-02"))
	}
	r.advance(to)
	r.world.Finish()
	return err
}

func (r *Runner) reading(c Line) error {
	var level float64
	retained := false
	if err := read(c.arg(1), &level); err != nil {
		return c.fail("%v", err)
	}
	if err := c.options(map[string]any{"retained": &retained}); err != nil {
		return err
	}
	for _, at := range r.places(c.arg(0)) {
		reading := readingAt(at, level)
		reading.Retained = retained
		r.world.Send(reading)
	}
	return nil
}

// places finds where a probe, or each of a zone's, is wired; "north/9/0" is a place
// itself, known to the files or not.
func (r *Runner) places(name string) []zones.Place {
	if parts := strings.Split(name, "/"); len(parts) == 3 {
		terminal, _ := strconv.Atoi(parts[1])
		return []zones.Place{{Controller: parts[0], Terminal: terminal, Address: parts[2]}}
	}
	var places []zones.Place
	for i := range r.plan.Probes {
		if p := &r.plan.Probes[i]; p.ID == name || p.Zone == name {
			places = append(places, p.Place)
		}
	}
	return places
}

func (r *Runner) report(c Line) error {
	flow := -1.0
	if err := c.options(map[string]any{"flow": &flow}); err != nil {
		return err
	}
	return r.world.Report(virtual.Valve{ID: c.arg(0), Open: c.arg(1) == "open", FlowLPM: flow, Obeys: c.arg(1) == "obeys"})
}

func (r *Runner) controller(c Line) error {
	id := c.arg(0)
	switch c.arg(1) {
	case "offline":
		return r.world.Controller(id, false, "")
	case "silent":
		return r.world.Silence(id)
	case "online":
		return r.world.Controller(id, true, "")
	case "reboots":
		r.orders++
		return r.world.Controller(id, true, id+"-reboot-"+itoa(r.orders))
	case "deaf":
		return r.world.Deafen(id, true)
	case "hears":
		return r.world.Deafen(id, false)
	}
	return c.fail("a controller is offline, silent, online, reboots, deaf or hears")
}

func (r *Runner) input(c Line) error {
	switch c.arg(1) {
	case "on", "off":
		return r.world.Input(c.arg(0), c.arg(1) == "on")
	case "silent", "heard":
		return r.world.Mute(c.arg(0), c.arg(1) == "silent")
	}
	return c.fail("an input is on, off, silent or heard")
}

// foreign is a report whose command came from another gateway.
func (r *Runner) foreign(c Line) error {
	var epoch, seq int
	seq = 1
	if err := firstError(read(c.arg(1), &epoch), c.options(map[string]any{"seq": &seq})); err != nil {
		return c.fail("%v", err)
	}
	return r.world.Foreign(c.arg(0), uint32(epoch), uint32(seq))
}

func (r *Runner) clock(c Line) error {
	var step time.Duration
	if err := c.options(map[string]any{"step": &step}); err != nil {
		return err
	}
	trusted := r.world.Trusted()
	if word := c.arg(0); word != "" {
		trusted = word == "trusted"
	}
	r.world.Clock(trusted, step)
	return nil
}

func (r *Runner) ledger(c Line) error {
	modes := map[string]virtual.LedgerMode{"works": virtual.LedgerAnswers, "holds": virtual.LedgerHolds, "fails": virtual.LedgerFails}
	mode, ok := modes[c.arg(0)]
	if !ok {
		return c.fail("a ledger works, holds or fails")
	}
	r.world.Ledger(mode)
	return nil
}

// order asks what a person would. Its answer is kept for `expect answer`.
func (r *Runner) order(c Line) error {
	r.orders++
	o := &zones.Order{ID: "o-" + itoa(r.orders), Kind: zones.OrderKind(strings.ReplaceAll(c.arg(0), "-", " ")), Source: "socket"}
	source := "socket"
	err := c.options(map[string]any{"for": &o.For, "volume": &o.VolumeML, "with": &o.With, "label": &o.Label, "note": &o.Note, "source": &source, "subject": &o.Subject})
	o.Source = zones.Source(source)
	switch o.Kind {
	case zones.OrderReset:
		o.Subject, o.Zone = c.arg(1), c.arg(2)
	case zones.OrderAssign, zones.OrderIgnore:
		o.Subject, o.Zone = c.arg(1), c.arg(2)
	case zones.OrderAcknowledge, zones.OrderExchange, zones.OrderLabel:
		o.Subject = c.arg(1)
	case zones.OrderWalk, zones.OrderWalkCut, zones.OrderWalkAccept, zones.OrderWalkReject:
		o.Zone, o.Subject = c.arg(1), c.arg(2)
	default:
		o.Zone = c.arg(1)
	}
	r.answer = nil
	r.world.Send(o)
	if r.answer == nil {
		r.miss(c, "the order is not answered")
	}
	return err
}

// change says a line of the room again, for the next `in-force`.
func (r *Runner) change(c Line) error {
	known, err := r.room.take(c)
	if !known {
		return c.fail("no command %q", c.Name)
	}
	return err
}

// apply puts the room as its lines now say in force.
func (r *Runner) apply(c Line) error {
	p, err := r.room.plan()
	if err != nil {
		return c.fail("%v", err)
	}
	r.plan = p
	r.world.Apply(p)
	return nil
}
