package zonetest

import (
	"cmp"
	"slices"
	"time"

	"rillgate/zones"
)

// latch is one that stands, by the records.
type latch struct {
	code    zones.Reason
	outputs []zones.Output // none = of the room
	seq     uint64
	at      time.Duration // Mono
	reset   uint64        // the record that ended it; 0 = none
	unsure  bool          // a crash may have taken its end
}

// record checks and books a record: INV-4, 18, 20, 23, 27, 29.
func (c *Checker) record(ev zones.Event, rec *zones.Record) {
	if rec.Lease > 0 {
		c.leases = append(c.leases, leased{rec.Seq, rec.Lease})
	}
	switch rec.Kind {
	case zones.RecStart, zones.RecEpoch:
		c.process.epoch = rec.Seq
		if rec.Kind == zones.RecStart {
			c.process.startAt = rec.Seq
		}
	case zones.RecIntent:
		c.retainedStarts(ev, rec)
		c.intent(rec)
		c.orders.spend(c, rec.Run)
	case zones.RecClose:
		c.closeRecord(rec.Run)
	case zones.RecSettle:
		c.settle(rec.Run)
	case zones.RecLatch:
		c.latch(rec)
	case zones.RecReset:
		c.reset(rec)
	case zones.RecHold:
		c.hold(ev, rec)
	}
}

// retainedStarts is INV-20: what is retained starts nothing. A step for which time
// stood still since a tick has no other cause than its event.
func (c *Checker) retainedStarts(ev zones.Event, rec *zones.Record) {
	_, ticked := c.prev.(*zones.Tick)
	if retained(ev) && ticked && c.prevAt == c.now.Mono {
		c.breach(20, "a retained message begins run %s", rec.Run.ID)
	}
}

func retained(ev zones.Event) bool {
	switch ev := ev.(type) {
	case *zones.Reading:
		return ev.Retained
	case *zones.Report:
		return ev.Retained
	case *zones.Status:
		return ev.Retained
	case *zones.InputState:
		return ev.Retained
	}
	return false
}

// closeRecord is INV-27 and 29: the close goes out before it is written down, and
// is written down once.
func (c *Checker) closeRecord(p *zones.RunRecord) {
	r := c.runs[p.ID]
	if r == nil {
		return
	}
	delete(c.active, p.ID)
	if r.closes++; r.closes > 1 {
		c.breach(29, "run %s is closed %d times", r.id, r.closes)
	}
	if p.Reason == "" || p.Reason == zones.NoReason {
		c.breach(29, "run %s is closed without a reason", r.id)
	}
	if r.process != c.process.number {
		return
	}
	for _, at := range r.outputs {
		if o := c.out(at); o.commanded && o.openRun == r.id && o.granted && c.reachable(at) {
			c.breach(27, "the close of run %s is written down before %s is told", r.id, at)
		}
	}
}

// reachable reports whether a command has somebody to go to.
func (c *Checker) reachable(at zones.Output) bool {
	ctl := c.ctl(at.Controller)
	return c.process.broker && ctl.heard && !ctl.offline && c.now.Mono-ctl.arrived <= 15*time.Second
}

func (c *Checker) latch(rec *zones.Record) {
	c.latches = append(c.latches, latch{code: rec.Latch.Code, outputs: append([]zones.Output(nil), rec.Latch.Outputs...), seq: rec.Seq, at: c.now.Mono})
}

// reset is INV-23: a latch ends by a person's order alone, soon, and where the order says.
func (c *Checker) reset(rec *zones.Record) {
	if !slices.ContainsFunc(c.orders.resets, func(o asked) bool { return c.now.Mono-o.at <= orderEffect && c.names(&o.order, rec) }) {
		c.breach(23, "the latch %s of %v ends without a reset of it", rec.Latch.Code, rec.Latch.Outputs)
	}
	c.ended = slices.DeleteFunc(c.ended, func(l latch) bool { return l.reset <= c.durable })
	c.latches = slices.DeleteFunc(c.latches, func(l latch) bool {
		ends := l.code == rec.Latch.Code && covers(rec.Latch.Outputs, l.outputs)
		if ends {
			l.reset = rec.Seq
			c.ended = append(c.ended, l)
		}
		return ends
	})
	if rec.Latch.Code == zones.CrashLoop {
		c.braked, c.starts, c.process.forgiven = false, nil, true
	}
}

// names reports whether a reset is of what the record ends.
func (c *Checker) names(o *zones.Order, rec *zones.Record) bool {
	subject := cmp.Or(o.Subject, o.Zone)
	switch {
	case rec.Budget != nil:
		return o.Subject == "budget" && c.belongs(o.Zone, rec.Budget.Outputs)
	case len(rec.Latch.Outputs) == 0:
		return subject == "" || subject == "room" || subject == c.plan.Room
	}
	return c.belongs(subject, rec.Latch.Outputs)
}

// belongs reports whether one of the outputs is of a zone or a supply.
func (c *Checker) belongs(subject string, outs []zones.Output) bool {
	z := c.zonePlan(subject)
	return slices.ContainsFunc(c.plan.Valves, func(v zones.Valve) bool {
		return slices.Contains(outs, v.Output) && (v.Supply == subject || z != nil && slices.Contains(z.Valves, v.ID))
	}) || slices.ContainsFunc(c.plan.Supplies, func(s zones.Supply) bool {
		return s.ID == subject && s.Master != nil && slices.Contains(outs, s.Master.Output)
	})
}

// covers reports whether a reset of these outputs ends a latch of those.
func covers(reset, latched []zones.Output) bool {
	if len(latched) == 0 {
		return len(reset) == 0
	}
	for _, at := range latched {
		if !slices.Contains(reset, at) {
			return false
		}
	}
	return true
}

// forgetLatches drops what a crash may have taken: latches that were not durable, and
// resets that were not, whose latches may stand or not.
// Behind a word to end they may be there or not: nobody was left to hear of it.
func (c *Checker) forgetLatches(lost bool) {
	if lost {
		c.latches = slices.DeleteFunc(c.latches, func(l latch) bool { return l.seq > c.durable })
	}
	for i := range c.latches {
		l := &c.latches[i]
		l.unsure = l.unsure || l.seq > c.durable
	}
	for _, l := range c.ended {
		if l.seq <= c.durable && l.reset > c.durable {
			l.unsure = true
			c.latches = append(c.latches, l)
		}
	}
	c.ended = c.ended[:0]
}

// latchOver finds a latch that forbids an opening.
func (c *Checker) latchOver(cmd *zones.Command) *latch {
	r := c.runs[cmd.Run]
	for i := range c.latches {
		l := &c.latches[i]
		if c.healthy(cmd.Output) && (l.code == zones.StoppedByPerson || c.known(l.at)) {
			continue // it is no water, and no news to who stopped the room
		}
		if l.unsure {
			continue
		}
		if l.code == zones.NoResponse && r != nil && (!scheduled(r.reason) && r.reason != zones.Soak || r.started) {
			continue // it binds no shot by hand but a soak, and lets one that runs end
		}
		if l.seq <= c.durable && (len(l.outputs) == 0 || slices.Contains(l.outputs, cmd.Output)) {
			return l
		}
	}
	return nil
}

// hold is one that a person ordered. A restart may take some minutes of age away: it
// lasts so much longer then, never less.
type hold struct {
	until   time.Duration // Mono
	seq     uint64
	byBox   bool           // no word over MQTT ends it
	outputs []zones.Output // of the zone, by the plan in which it was set
}

// held is INV-19: what a person holds gets no water, whatever died meanwhile, and under
// whatever name.
func (c *Checker) held(cmd *zones.Command) {
	for zone, h := range c.holds {
		mine := zone == cmd.Zone || slices.Contains(h.outputs, cmd.Output)
		if mine && cmd.Zone != "" && h.seq <= c.durable && c.now.Mono < h.until-tickGap {
			c.breach(19, "%s of zone %s opens, zone %s is held for %s more", cmd.Output, cmd.Zone, zone, h.until-c.now.Mono)
		}
	}
}

// follows reports whether a hold goes on over outputs that are another zone's now, or over
// those that its own zone has now.
func (c *Checker) follows(zone string, until time.Duration) bool {
	from := func(old string, h hold) bool {
		return (old == zone || c.belongs(zone, h.outputs)) && until >= h.until-tickGap
	}
	for old, h := range c.holds {
		if from(old, h) {
			return true
		}
	}
	return slices.ContainsFunc(c.maybe, func(g gaveUp) bool { return from(g.zone, g.hold) })
}

// outputsOf gives the outputs of a zone's valves, by the plan.
func (c *Checker) outputsOf(zone string) (at []zones.Output) {
	if z := c.zonePlan(zone); z != nil {
		for i := range c.plan.Valves {
			if v := &c.plan.Valves[i]; slices.Contains(z.Valves, v.ID) {
				at = append(at, v.Output)
			}
		}
	}
	return at
}

// forgetHolds drops what a crash may have taken.
func (c *Checker) forgetHolds() {
	c.maybe = c.maybe[:0]
	for zone, h := range c.holds { // what was not known to be durable may be there
		if h.seq > c.durable {
			c.maybe = append(c.maybe, gaveUp{hold: h, zone: zone})
			delete(c.holds, zone)
		}
	}
	c.maybe = append(c.maybe, c.gaveUp...)
	for _, h := range c.gaveUp { // an end that was not durable ends nothing
		if _, stands := c.holds[h.zone]; !stands && h.seq <= c.durable && h.ended > c.durable {
			c.holds[h.zone] = h.hold
		}
	}
	c.gaveUp = c.gaveUp[:0]
}

// gaveUp is a hold that ended, or that another one took the place of.
type gaveUp struct {
	hold
	zone  string
	ended uint64 // the record that did it
}

// hold is INV-18 and 20: only a person holds, and for a day at most.
func (c *Checker) hold(ev zones.Event, rec *zones.Record) {
	h := rec.Hold
	if c.holds == nil {
		c.holds = map[string]hold{}
	}
	o, ordered := ev.(*zones.Order)
	old, stood := c.holds[h.Zone]
	if stood {
		c.gaveUp = append(c.gaveUp, gaveUp{old, h.Zone, rec.Seq})
	}
	stood = stood && c.now.Mono < old.until-tickGap
	if h.Until == 0 {
		switch {
		case ordered && o.Kind == zones.OrderRelease && old.byBox && o.Source == "mqtt":
			c.breach(19, "a word over MQTT ends the hold of %s, which the box set", h.Zone)
		case !(ordered && o.Kind == zones.OrderRelease) && c.zonePlan(h.Zone) != nil:
			c.breach(20, "zone %s is released without an order", h.Zone)
		}
		delete(c.holds, h.Zone)
		return
	}
	now := hold{until: c.now.Mono + h.Until - rec.Age, seq: rec.Seq, byBox: h.Source != "mqtt", outputs: c.outputsOf(h.Zone)}
	switch {
	case stood && now.until < old.until-tickGap:
		c.breach(19, "the hold of zone %s is made %s shorter", h.Zone, old.until-now.until)
	case stood && old.byBox && !now.byBox:
		c.breach(19, "the hold of zone %s was set at the box and is MQTT's now", h.Zone)
	}
	moved := !ordered && c.follows(h.Zone, now.until)
	c.holds[h.Zone] = now
	if h.Until-rec.Age > zones.HoldCeiling+time.Second {
		c.breach(18, "zone %s is held for %s", h.Zone, h.Until-rec.Age)
	}
	if !moved && !(ordered && o.Kind == zones.OrderHold) {
		c.breach(20, "zone %s is held without an order", h.Zone)
	}
}

// deadlines checks what has to have happened by now: INV-2, 8, 22, 24.
func (c *Checker) deadlines() {
	c.lostQuorum()
	for _, x := range c.outputs {
		at, o := x.at, x.output
		if o.open && c.now.Mono > o.deadline+o.late {
			c.breach(2, "%s is open %s after its last grant", at, c.now.Mono-o.deadline)
		}
		seen := min(c.now.Mono-o.wrongSince, o.wrongTo-o.wrongFrom) // reports may come late, and all at once
		if o.wrongSince != 0 && seen > 3*time.Second+tickGap && !c.nobodys(at, o) && !c.mismatched(at) {
			c.breach(22, "%s is reported open or flowing for %s against our close, and nothing is latched", at, o.wrongTo-o.wrongFrom)
		}
		if f := c.process.failed; f != 0 && o.commanded && o.granted && c.now.Mono-f > tickGap && c.now.Mono < o.deadline && c.reachable(at) {
			c.breach(24, "%s stays open %s after a record failed", at, c.now.Mono-f)
		}
	}
}

// nobodys reports whether what an output does came after its valve had left the plan closed.
func (c *Checker) nobodys(at zones.Output, o *output) bool {
	l, gone := c.gone[at]
	return gone && l.closed && o.wrongSince > l.since
}

// mismatched reports whether the mismatch latch stands over an output.
func (c *Checker) mismatched(at zones.Output) bool {
	for i := range c.latches {
		l := &c.latches[i]
		if l.code == zones.SecondGateway {
			return true // what another gateway opens under our epoch is not told apart
		}
		if l.code == zones.ValveMismatch && (len(l.outputs) == 0 || slices.Contains(l.outputs, at)) {
			return true
		}
	}
	if c.isMaster(at) {
		return false
	}
	v := c.valve(at)
	return v == nil || c.zoneOf(v.ID) == nil // one that no zone uses any more
}

func (c *Checker) isMaster(at zones.Output) bool {
	return slices.ContainsFunc(c.plan.Supplies, func(s zones.Supply) bool { return s.Master != nil && s.Master.Output == at })
}

// countStart is INV-30: six starts after unclean ends in ten minutes. A process that
// died before its start was durable commanded nothing, and nobody can know of it.
func (c *Checker) countStart() {
	p := &c.process
	if p.startAt == 0 || c.durable < p.startAt {
		return
	}
	p.startAt = 0
	if p.unclean && !p.forgiven {
		c.starts = append(c.starts, p.start)
	}
	from := p.start - 10*time.Minute
	c.starts = slices.DeleteFunc(c.starts, func(at time.Duration) bool { return at < from })
	if len(c.starts) > 5 && !c.braked {
		c.braked, c.brakeAt = true, p.start
	}
}

// known reports whether somebody has acknowledged an alarm since: the healthy output may
// be held again.
func (c *Checker) known(since time.Duration) bool {
	at, ok := c.orders.last[zones.OrderAcknowledge]
	return ok && at >= since
}

// healthy reports whether an output is the one that is held while all is well.
func (c *Checker) healthy(at zones.Output) bool {
	return c.plan.Healthy != nil && *c.plan.Healthy == at
}
