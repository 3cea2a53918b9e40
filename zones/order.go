package zones

import (
	"slices"
	"time"

	"rillgate/schedule"
)

const holdDefault = time.Hour

// order takes what a person asks; every order is answered, and journalled with where
// it came from.
func (r *Room) order(e *Order) {
	switch e.Kind {
	case OrderHold:
		r.orderHold(e)
	case OrderRelease:
		r.orderRelease(e)
	case OrderShot:
		r.orderShot(e)
	case OrderSoak:
		r.orderSoak(e)
	case OrderStop:
		r.orderStop(e)
	case OrderReset:
		r.orderReset(e)
	case OrderAcknowledge:
		r.orderAcknowledge(e)
	case OrderAssign:
		r.orderAssign(e)
	case OrderExchange:
		r.orderExchange(e)
	case OrderLabel:
		r.orderLabel(e)
	case OrderIgnore:
		r.orderIgnore(e)
	case OrderWalk, OrderWalkCut:
		r.orderWalk(e)
	case OrderWalkAccept:
		r.orderWalkAccept(e)
	case OrderWalkReject:
		r.orderWalkReject(e)
	case OrderWalkEnd:
		r.orderWalkEnd(e)
	case OrderNote, OrderClockTrust:
		r.answer(e, true, NoReason, "noted")
	default:
		r.answer(e, false, NoReason, sprintf("%q is not built yet", e.Kind))
	}
	r.dirty = true
}

// Forgotten ends the answer to an order that the ledger cannot keep.
const Forgotten = "the ledger cannot be written: a restart forgets it"

// answer ends an order. What the ledger cannot keep is said to be lost at a restart.
func (r *Room) answer(e *Order, ok bool, why Reason, because string) {
	if ok && r.storeBroken != "" && slices.ContainsFunc(r.out, isRecord) {
		because += "; " + Forgotten
	}
	subject := e.Zone
	if subject == "" {
		subject = e.Subject
	}
	r.out = append(r.out, &Answer{Order: e.ID, Kind: e.Kind, Subject: subject, Accepted: ok, Reason: why, Because: because})
	verdict := "order"
	if !ok {
		verdict = "order-refused"
	}
	r.entry(&Entry{Kind: verdict, Zone: e.Zone, Probe: r.probeNamed(e.Subject), Reason: why, Because: string(e.Kind) + ": " + because,
		Order: e.ID, Source: e.Source, By: e.By, Note: e.Note})
}

func isRecord(e Effect) bool {
	_, ok := e.(*Record)
	return ok
}

// orderZone finds the order's zone, or answers that there is none.
func (r *Room) orderZone(e *Order) *zone {
	id := e.Zone
	if id == "" {
		id = e.Subject
	}
	z := r.zoneBy[id]
	if z == nil {
		r.answer(e, false, NoReason, sprintf("no zone %q; %s", id, r.zonesWords()))
	}
	return z
}

func (r *Room) orderHold(e *Order) {
	z := r.orderZone(e)
	if z == nil {
		return
	}
	d := e.For
	if d == 0 {
		d = holdDefault
	}
	if d < 0 || d > HoldCeiling {
		r.answer(e, false, NoReason, sprintf("a hold lasts up to %s, not %s", words(HoldCeiling), words(d)))
		return
	}
	if !r.hold(z, r.t+d, e.Source) {
		r.answer(e, true, HeldByPerson, sprintf("%s is held already, until %s: only a release makes a hold shorter", z.id, r.clockWords(z.mem.HoldUntil)))
		return
	}
	r.answer(e, true, HeldByPerson, sprintf("%s is held for %s", z.id, words(z.mem.HoldUntil-r.t)))
}

// hold holds a zone until an age at least. A hold that stands gets no shorter by it, and
// one that was set at the box stays for the box to end. It reports whether anything changed.
func (r *Room) hold(z *zone, until time.Duration, source Source) bool {
	if r.t < z.mem.HoldUntil {
		until = max(until, z.mem.HoldUntil)
		if source == "mqtt" {
			source = z.mem.HoldSource
		}
		if until == z.mem.HoldUntil && source == z.mem.HoldSource {
			return false
		}
	}
	r.record(&Record{Kind: RecHold, Hold: &HoldRecord{Zone: z.id, Until: until, Source: source, Outputs: ids(z.outs)}})
	return true
}

// moveHolds lets the hold of a zone go with its outputs into others: the bed is the same.
// What has its name stays held as well.
func (r *Room) moveHolds() {
	held := map[string]ZoneMemory{}
	for id, m := range r.mem.Zones { // order: sorted below
		if r.t < m.HoldUntil {
			held[id] = *m
		}
	}
	for _, id := range sortedKeys(held) {
		m := held[id]
		moved := false
		for _, z := range r.zones {
			if z.id != id && slices.ContainsFunc(z.outs, func(o *output) bool { return slices.Contains(m.HoldOn, o.id) }) {
				r.hold(z, m.HoldUntil, m.HoldSource)
				moved = true
			}
		}
		switch z := r.zoneBy[id]; {
		case moved && z != nil: // from now on it is for what the zone has now
			r.record(&Record{Kind: RecHold, Hold: &HoldRecord{Zone: id, Until: m.HoldUntil, Source: m.HoldSource, Outputs: ids(z.outs)}})
		case moved:
			r.record(&Record{Kind: RecHold, Hold: &HoldRecord{Zone: id}})
		}
	}
}

func (r *Room) orderRelease(e *Order) {
	z := r.orderZone(e)
	if z == nil {
		return
	}
	if r.t >= z.mem.HoldUntil {
		r.answer(e, false, NoReason, z.id+" is not held")
		return
	}
	if e.Source == "mqtt" && z.mem.HoldSource != "mqtt" {
		r.answer(e, false, HeldByPerson, "this hold was not set over MQTT: only `rillgate release` ends it")
		return
	}
	r.record(&Record{Kind: RecHold, Hold: &HoldRecord{Zone: z.id}})
	r.answer(e, true, NoReason, z.id+" is released")
}

// taken answers that a zone is being watered or soaked already, where it is.
func (r *Room) taken(e *Order, z *zone) bool {
	switch {
	case z.soak != nil:
		r.answer(e, false, Soak, z.soakedAlready())
	case z.run != nil:
		r.answer(e, false, SupplyBusy, z.id+" is being watered")
	default:
		return false
	}
	return true
}

// orderShot gives one shot by hand, if every interlock that binds it agrees now.
func (r *Room) orderShot(e *Order) {
	z := r.orderZone(e)
	if z == nil {
		return
	}
	a, why := r.handShot(z, e)
	if why != "" {
		r.answer(e, false, NoReason, why)
		return
	}
	if r.taken(e, z) {
		return
	}
	r.lookAtLinks()
	r.see(z)
	l, ok := r.permit(z, a, supplyStep)
	if ok && r.busy(z) || ok && r.queued(z.supply) {
		l, ok = &interlocks[supplyStep], false
	}
	if !ok {
		r.answer(e, false, l.code, l.words(r, z, a))
		return
	}
	run := r.start(z, a)
	run.order = e.ID
	r.answer(e, true, ByHand, sprintf("%s gets %s", z.id, words(a.length)))
}

// queued reports whether a zone waits for the supply, or a walk has the room: a shot by
// hand does not overtake.
func (r *Room) queued(s *supply) bool {
	return r.walking() || s != nil && slices.ContainsFunc(s.zones, func(z *zone) bool { return z.waiting })
}

// handShot reckons the valve time: given, or the shot of the window open now, else
// of the next one.
func (r *Room) handShot(z *zone, e *Order) (*ask, string) {
	a := &ask{on: true, hand: true, reason: ByHand, length: e.For, because: "a person asked for it"}
	if w := z.window(); w != nil {
		a.rest = w.Rest
	}
	switch {
	case e.For < 0 || e.VolumeML < 0:
		return nil, "a shot has a length or a volume over zero"
	case e.For > 0:
	case e.VolumeML > 0:
		d, ok := z.cfg.RunTime(schedule.Shot{Kind: schedule.ByMillilitres, Value: e.VolumeML})
		if !ok {
			return nil, "the zone's emitters are not in room.yaml: give a length instead of a volume"
		}
		a.length = d
	default:
		w, ok := r.anyWindow(z)
		if !ok {
			return nil, "no window is open and none comes: give a length or a volume"
		}
		d, ok := z.cfg.RunTime(w.Shot)
		if !ok {
			return nil, "the zone's emitters or substrate are not in room.yaml: give a length"
		}
		a.length = d
	}
	return a, tooShort(a.length)
}

// tooShort says that a valve would be told to close before it has opened; "" = it would not.
func tooShort(d time.Duration) string {
	if d >= ShortestRun {
		return ""
	}
	return sprintf("no valve opens and closes so soon: it takes %s of valve time, %s is the least", words(d), words(ShortestRun))
}

func (r *Room) anyWindow(z *zone) (*schedule.Window, bool) {
	if w := z.window(); w != nil {
		return w, true
	}
	in, ok := r.nextOpening(z)
	if !ok {
		return nil, false
	}
	return &in.Window, true
}

func (r *Room) orderStop(e *Order) {
	by := "a person stopped it"
	if e.Note != "" {
		by += ": " + e.Note
	}
	if e.Zone == "" && e.Subject == "" {
		r.latchRoom(StoppedByPerson, by)
		r.answer(e, true, StoppedByPerson, "the room is stopped until `rillgate reset room`; this isolates neither water nor current")
		return
	}
	z := r.orderZone(e)
	if z == nil {
		return
	}
	r.latchZone(z, StoppedByPerson, by)
	r.answer(e, true, StoppedByPerson, sprintf("%s is stopped until `rillgate reset %s`; this isolates neither water nor current", z.id, z.id))
}

func (r *Room) orderIgnore(e *Order) {
	p := r.probeByID(e.Subject)
	switch {
	case p == nil:
		r.answer(e, false, NoReason, sprintf("no probe %q is known", e.Subject))
	case e.For <= 0 || e.For > 30*day:
		r.answer(e, false, NoReason, "say for how long, up to 30 days: --for 48h")
	default:
		p.ignoredTo = r.t + e.For
		r.record(&Record{Kind: RecProbe, Probe: &ProbeRecord{Place: p.place, Memory: r.probeMemory(p)}})
		r.answer(e, true, NoReason, sprintf("%s counts for nothing for %s", p.id, words(e.For)))
	}
}

// orderAcknowledge silences alarms; a probe's lets it start afresh. It opens nothing.
func (r *Room) orderAcknowledge(e *Order) {
	subject := e.Subject
	if subject == "" {
		subject = e.Zone
	}
	n := 0
	if p := r.probeByID(subject); p != nil && (p.excluded || p.outside || p.stamped) {
		p.forget()
		r.record(&Record{Kind: RecProbe, Probe: &ProbeRecord{Place: p.place, Memory: r.probeMemory(p)}})
		n++
	}
	for _, a := range r.sortedAlarms() {
		if subject != "" && subject != a.subject && subject != string(a.code) && subject != alarmID(a.code, a.subject) {
			continue
		}
		if n++; a.sticky {
			r.clear(a)
			continue
		}
		a.acked = true
	}
	if n == 0 && subject == "" {
		r.answer(e, false, NoReason, "no alarm stands: there is nothing to acknowledge")
		return
	}
	if n == 0 {
		r.answer(e, false, NoReason, sprintf("no alarm and no probe %q to acknowledge", subject))
		return
	}
	r.answer(e, true, NoReason, sprintf("%d acknowledged", n))
}

func (r *Room) probeByID(id string) *probe {
	for _, p := range r.probes {
		if id != "" && (p.id == id || p.place.String() == id) {
			return p
		}
	}
	return nil
}

func (r *Room) probeNamed(id string) string {
	if p := r.probeByID(id); p != nil {
		return p.id
	}
	return ""
}

// zonesWords says which zones there are.
func (r *Room) zonesWords() string {
	if len(r.zones) == 0 {
		return "there is no zone while no plan is in force"
	}
	s := "the zones are "
	for i, z := range r.zones {
		if i > 0 {
			s += ", "
		}
		s += z.id
	}
	return s
}
