package zones

import "slices"

// orderReset lets water again: of a zone, a supply, the room, or a budget that
// counts as spent. It opens nothing, and is refused while the cause holds.
func (r *Room) orderReset(e *Order) {
	subject := e.Subject
	if subject == "" {
		subject = e.Zone
	}
	switch {
	case e.Subject == "budget":
		r.resetBudget(e)
	case subject == "" || subject == "room" || subject == r.plan.Room:
		r.resetRoom(e)
	case r.zoneBy[subject] != nil:
		r.resetZone(e, r.zoneBy[subject])
	case r.supplyOf(subject) != nil:
		r.resetSupply(e, r.supplyOf(subject))
	default:
		r.answer(e, false, NoReason, sprintf("nothing called %q can be reset; %s, and there is `room`", subject, r.zonesWords()))
	}
}

func (r *Room) resetBudget(e *Order) {
	z := r.zoneBy[e.Zone]
	if z == nil {
		r.answer(e, false, NoReason, sprintf("say whose budget: reset budget ZONE; %s", r.zonesWords()))
		return
	}
	if !z.spent() {
		r.answer(e, false, NoReason, sprintf("nothing of %s's budget was lost: the water of the last 24 h counts for all of them", z.id))
		return
	}
	r.record(&Record{Kind: RecReset, Budget: &BudgetRecord{Outputs: ids(z.outs)}, Latch: &LatchRecord{Code: DailyLimit, Outputs: ids(z.outs)}})
	r.answer(e, true, NoReason, sprintf("the water of the last 24 h no longer counts for %s", z.id))
}

func (r *Room) resetSupply(e *Order, s *supply) {
	var outs []*output
	if s.master != nil {
		outs = append(outs, s.master)
	}
	for _, o := range r.outputs { // those that no zone uses any more too
		if o.resetWith(s) {
			outs = append(outs, o)
		}
	}
	codes := latchedCodes(outs)
	if !slices.Contains(codes, ValveMismatch) { // a stop, a leak, a bed that does not answer are a zone's own
		r.answer(e, false, NoReason, sprintf("nothing is latched at %s%s", s.cfg.ID, r.latchedZones()))
		return
	}
	r.resetCodes(e, outs, []Reason{ValveMismatch}, s.cfg.ID)
}

func (r *Room) resetZone(e *Order, z *zone) {
	codes := latchedCodes(z.outs)
	if len(codes) == 0 {
		r.answer(e, false, NoReason, sprintf("nothing is latched at %s", z.id))
		return
	}
	r.resetCodes(e, z.outs, codes, z.id)
}

// resetCodes clears what is latched on outputs; valve-mismatch of a supply with a
// master goes for the whole supply.
func (r *Room) resetCodes(e *Order, outs []*output, codes []Reason, subject string) {
	for _, code := range codes {
		if because, holds := r.causeHolds(code, outs); holds {
			r.answer(e, false, code, because+": mend that first")
			return
		}
	}
	for _, code := range codes {
		on := outs
		if code == ValveMismatch {
			on = r.withSupply(outs)
		}
		r.record(&Record{Kind: RecReset, Latch: &LatchRecord{Code: code, Outputs: ids(on)}})
		r.afterReset(code, on)
	}
	r.answer(e, true, NoReason, sprintf("%s may be watered again", subject))
}

// withSupply adds the master and all other valves of a supply that has a master, those
// that no zone uses too: one of them may be what does not close.
func (r *Room) withSupply(outs []*output) []*output {
	s := outs[0].supply
	if s == nil || s.master == nil {
		return outs
	}
	all := []*output{s.master}
	for _, z := range s.zones {
		all = append(all, z.outs...)
	}
	for _, o := range r.outputs {
		if o.zone == nil && o.resetWith(s) {
			all = append(all, o)
		}
	}
	return all
}

// afterReset lets judgements begin anew.
func (r *Room) afterReset(code Reason, outs []*output) {
	for _, o := range outs {
		o.wrongSince = forever
		if z := o.zone; z != nil && code == NoResponse {
			z.mem.Response = ResponseMemory{}
			z.urgent = true
		}
		if z := o.zone; z != nil && code == LeakFound {
			for _, p := range z.probes {
				p.history, p.rose = [slots]slot{}, 0
			}
		}
	}
}

func latchedCodes(outs []*output) []Reason {
	var codes []Reason
	for _, code := range []Reason{StoppedByPerson, LeakFound, ValveMismatch, NoResponse} {
		for _, o := range outs {
			if hasLatch(o.mem.Latches, code) != nil {
				codes = append(codes, code)
				break
			}
		}
	}
	return codes
}

// causeHolds says whether what set a latch still stands.
func (r *Room) causeHolds(code Reason, outs []*output) (string, bool) {
	if code == LeakFound { // a zone's own
		if n, of := outs[0].zone.rising(r.t); of > 0 && 2*n > of {
			return "its probes still rise without a run", true
		}
	}
	if code != ValveMismatch {
		return "", false
	}
	for _, o := range r.withSupply(outs) {
		if !o.shown {
			return "controller " + o.ctl.id + " has not told since it began, or since we did, whether valve " + o.valve + " is closed", true
		}
		if o.open || o.flowing() {
			return "valve " + o.valve + " is still open or flowing", true
		}
	}
	return "", false
}

// latchedZones names the zones that a reset of their own would free.
func (r *Room) latchedZones() string {
	s := ""
	for _, z := range r.zones {
		for _, code := range latchedCodes(z.outs) {
			s += sprintf("; %s is latched by %s: `rillgate reset %s`", z.id, code, z.id)
		}
	}
	return s
}

// resetRoom clears the latches of the room.
func (r *Room) resetRoom(e *Order) {
	if c := r.outranked(); c != nil { // second-gateway stands
		r.answer(e, false, SecondGateway, sprintf("controller %s says that it obeys epoch %d, and no epoch is left above that: start it anew, so that it forgets it, and look who sent it", c.id, c.epoch))
		return
	}
	if len(r.mem.Latches) == 0 {
		r.answer(e, false, NoReason, "nothing is latched for the room as a whole"+r.latchedZones())
		return
	}
	for _, l := range r.mem.Latches {
		because, holds := r.roomCauseHolds(l.Code)
		switch {
		case !holds:
			continue
		case hasLatch(r.mem.Latches, SecondGateway) != nil:
			r.outrank()
			r.answer(e, true, NoReason, sprintf("all valves are told to close above the other gateway's commands; %s stays: %s", l.Code, because))
		default:
			r.answer(e, false, l.Code, because+": mend that first")
		}
		return
	}
	if hasLatch(r.mem.Latches, SecondGateway) != nil {
		r.outrank()
	}
	for len(r.mem.Latches) > 0 {
		r.record(&Record{Kind: RecReset, Latch: &LatchRecord{Code: r.mem.Latches[0].Code}})
	}
	r.leakSince = forever
	r.answer(e, true, NoReason, "the room may be watered again")
}

// outrank clears the latch of a second gateway and takes an epoch above its own. It is
// no reason to wait that its valves still let water through: until our epoch is the
// higher one no close of ours counts for them.
func (r *Room) outrank() {
	r.record(&Record{Kind: RecReset, Latch: &LatchRecord{Code: SecondGateway}})
	r.takeEpoch(max(r.highest, r.epoch) + 1)
}

// outranked gives a controller that obeys an epoch above which none is left.
func (r *Room) outranked() *controller {
	for _, c := range r.controllers {
		if c.epoch > topEpoch {
			return c
		}
	}
	return nil
}

func (r *Room) roomCauseHolds(code Reason) (string, bool) {
	switch code {
	case StoppedByPerson:
		if in := r.activeInput(StopInput); in != nil {
			return "stop input " + in.cfg.ID + " is active", true
		}
	case LeakFound:
		if in := r.activeInput(Leak); in != nil {
			return "leak input " + in.cfg.ID + " is active", true
		}
		if r.leakSince != forever && r.t >= r.leakSince+leakFlowAfter {
			return "water still flows with all valves closed", true
		}
	}
	return "", false
}

func (r *Room) activeInput(m Means) *input {
	for _, in := range r.inputs {
		if in.cfg.Means == m && in.active {
			return in
		}
	}
	return nil
}
