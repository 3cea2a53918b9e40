package zones

import "time"

// interlock is one rule that only subtracts: it may refuse an opening or close a
// run, never open.
type interlock struct {
	code     Reason
	hand     bool // binds a shot by hand too
	closes   bool // ends a run while it holds
	standing bool // shown also when the zone asks for nothing
	holds    func(r *Room, z *zone, a *ask) bool
	words    func(r *Room, z *zone, a *ask) string
}

// interlocks is the fixed order in which they are asked; the first that refuses is
// the reason. docs/interlocks.md gives each its harm and its test.
var interlocks = []interlock{
	{Starting, true, true, false, isStarting, startingWords},
	{SecondGateway, true, true, true, roomLatched(SecondGateway), roomLatchWords(SecondGateway)},
	{CrashLoop, true, true, true, roomLatched(CrashLoop), roomLatchWords(CrashLoop)},
	{StoppedByPerson, true, true, true, isStopped, stoppedWords},
	{StoreFailed, true, true, false, func(r *Room, _ *zone, _ *ask) bool { return r.storeBroken != "" }, storeWords},
	{LeakFound, true, true, true, isLeaking, leakWords},
	{ValveMismatch, true, true, true, isMismatched, latchWords(ValveMismatch)},
	{BrokerLost, true, true, false, func(r *Room, _ *zone, _ *ask) bool { return !r.brokerUp }, func(*Room, *zone, *ask) string { return "the command connection to the broker is down" }},
	{ControllerOffline, true, true, false, isOffline, offlineWords},
	{SupplyIsLow, true, true, false, isSupplyLow, supplyLowWords},
	{ClockUnsure, false, false, false, isUnsure, func(*Room, *zone, *ask) string { return unsureWords }},
	{HeldByPerson, true, true, true, isHeld, heldWords},
	{NotWalked, false, false, true, isNotWalked, notWalkedWords},
	{NoResponse, false, false, true, zoneLatched(NoResponse), latchWords(NoResponse)},
	{OverWet, true, true, false, isOverWet, overWetWords},
	{ProbesLost, false, true, false, isBlind(ProbesLost), probesLostWords},
	{ProbesImplausible, false, true, false, isBlind(ProbesImplausible), probesImplausibleWords},
	{Starting, true, false, false, isUnclosed, startingWords}, // after what says more
	{DailyLimit, true, false, false, isSpent, dailyWords},
	{MaxRunReached, true, false, false, func(_ *Room, z *zone, a *ask) bool { return a.length > z.maxRun() }, maxRunWords},
	{RestingStill, true, false, false, isResting, restWords},
	{ShotsSpent, false, false, false, areShotsSpent, shotsWords},
	{SupplyBusy, true, false, false, func(r *Room, z *zone, _ *ask) bool { return r.busy(z) }, busyWords},
}

// supplyStep is the place of `supply-busy`, which is asked in the order of waiting.
var supplyStep = len(interlocks) - 1

// permit asks the interlocks before place `to`, in order.
func (r *Room) permit(z *zone, a *ask, to int) (*interlock, bool) {
	for i := range interlocks[:to] {
		l := &interlocks[i]
		if l.spares(a) {
			continue
		}
		if l.holds(r, z, a) {
			return l, false
		}
	}
	return nil, true
}

// mustClose asks what may end a run.
func (r *Room) mustClose(z *zone, run *run) (Reason, string, bool) {
	a := ask{hand: run.reason == ByHand || run.reason == Soak || run.reason == Walk, soak: run.reason == Soak, evidence: run.evidence, fallback: run.reason == LostProbesTimed}
	for i := range interlocks {
		l := &interlocks[i]
		if !l.closes || (a.hand && !l.hand) || !l.holds(r, z, &a) {
			continue
		}
		return l.code, l.words(r, z, &a), true
	}
	if r.ended {
		return StoppedByPerson, "the daemon is told to end", true
	}
	if (run.phase == recording || run.phase == leading) && !a.hand && isUnsure(r, z, &a) {
		return ClockUnsure, unsureWords, true // no valve opens by a clock that went bad meanwhile
	}
	if run.phase == recording && run.length > z.maxRun() {
		return MaxRunReached, sprintf("max_run is %s now", words(z.maxRun())), true
	}
	if run.phase != recording {
		if because, lapsed := r.lapsed(run); lapsed {
			return ControllerOffline, because, true
		}
		if because, bad := r.disobeys(run); bad {
			return ValveMismatch, because, true
		}
	}
	return "", "", false
}

// maxRun is how long one run may be; a soak that is on has its own.
func (z *zone) maxRun() time.Duration {
	if z.soak != nil && z.cfg.Limits.Soak != nil {
		return min(z.cfg.Limits.Soak.MaxRun, MaxRunCeiling)
	}
	return min(z.cfg.Limits.MaxRun, MaxRunCeiling)
}

func isStarting(r *Room, z *zone, a *ask) bool {
	if r.t < r.holdTo || !r.epochSafe || r.ended {
		return true
	}
	if a.on && r.unheard(z) != nil {
		return true
	}
	for _, c := range z.ctls {
		if c.online && !c.ready {
			return true
		}
	}
	return false
}

// unheard finds an input that could forbid and was not heard yet, of a controller
// that has reported for less than 15 s: what opens can wait for it.
func (r *Room) unheard(z *zone) *input {
	for _, in := range r.inputs {
		mine := in.cfg.Means == Leak || in.cfg.Means == StopInput || (in.cfg.Means == SupplyLow && z.supply != nil && (in.cfg.ID == z.supply.cfg.Low || !r.named(in.cfg.ID)))
		if mine && in.ctl.online && !in.known && r.t < in.ctl.since+inputSettle {
			return in
		}
	}
	return nil
}

func roomLatched(code Reason) func(*Room, *zone, *ask) bool {
	return func(r *Room, _ *zone, _ *ask) bool { return hasLatch(r.mem.Latches, code) != nil }
}

func zoneLatched(code Reason) func(*Room, *zone, *ask) bool {
	return func(_ *Room, z *zone, _ *ask) bool { return z.latch(code) != nil }
}

// latch finds a latch on any of the zone's outputs.
func (z *zone) latch(code Reason) *LatchMemory {
	for _, o := range z.outs {
		if l := hasLatch(o.mem.Latches, code); l != nil {
			return l
		}
	}
	return nil
}

func isStopped(r *Room, z *zone, _ *ask) bool {
	if hasLatch(r.mem.Latches, StoppedByPerson) != nil || z.latch(StoppedByPerson) != nil {
		return true
	}
	return r.forbidding(StopInput) != nil
}

func isLeaking(r *Room, z *zone, _ *ask) bool {
	return hasLatch(r.mem.Latches, LeakFound) != nil || z.latch(LeakFound) != nil || r.forbidding(Leak) != nil
}

// forbidding finds an input of a meaning that forbids now.
func (r *Room) forbidding(m Means) *input {
	for _, in := range r.inputs {
		if in.cfg.Means == m && in.forbids(r.t) {
			return in
		}
	}
	return nil
}

func isMismatched(_ *Room, z *zone, _ *ask) bool {
	if z.latch(ValveMismatch) != nil {
		return true
	}
	s := z.supply
	return s != nil && s.master != nil && hasLatch(s.master.mem.Latches, ValveMismatch) != nil
}

func isOffline(_ *Room, z *zone, _ *ask) bool {
	for _, c := range z.ctls {
		if !c.usable() {
			return true
		}
	}
	return len(z.ctls) == 0
}

func isSupplyLow(r *Room, z *zone, _ *ask) bool { return r.lowInput(z.supply) != nil }

// lowInput finds the supply-low input that forbids a supply; one that no supply
// names binds them all.
func (r *Room) lowInput(s *supply) *input {
	if s == nil {
		return nil
	}
	for _, in := range r.inputs {
		if in.cfg.Means == SupplyLow && (in.cfg.ID == s.cfg.Low || !r.named(in.cfg.ID)) && in.forbids(r.t) {
			return in
		}
	}
	return nil
}

func (r *Room) named(low string) bool {
	for _, s := range r.supplies {
		if s.cfg.Low == low {
			return true
		}
	}
	return false
}

func isUnsure(r *Room, _ *zone, _ *ask) bool { return !r.now.Trusted }

func isHeld(r *Room, z *zone, _ *ask) bool {
	if r.t < z.mem.HoldUntil {
		r.at(z.mem.HoldUntil)
		return true
	}
	return false
}

func isOverWet(_ *Room, z *zone, _ *ask) bool {
	return z.est.known && z.est.value >= z.maxMoisture()
}

// isBlind holds when the shot needs probes and too few count, for the given cause.
func isBlind(code Reason) func(*Room, *zone, *ask) bool {
	return func(_ *Room, z *zone, a *ask) bool {
		return a.evidence && !z.est.known && z.est.cause(z.cfg.Moisture.Quorum) == code
	}
}

// used gives the valve time that counts against max_per_day: of the zone's outputs,
// the one that ran longest. kind "" = that of all shots, from which soaks stay apart.
func (z *zone) used(t time.Duration, kind Reason) time.Duration {
	var most time.Duration
	for _, o := range z.outs {
		most = max(most, o.mem.used(t, kind))
	}
	return most
}

// spent reports whether the budget is unknown and counts as spent.
func (z *zone) spent() bool {
	for _, o := range z.outs {
		if o.mem.Spent {
			return true
		}
	}
	return false
}

func (z *zone) maxPerDay() time.Duration { return min(z.cfg.Limits.MaxPerDay, MaxPerDayCeiling) }

// isSpent holds when the shot does not fit what is left of any 24 h.
func isSpent(r *Room, z *zone, a *ask) bool {
	if z.used(r.t, "")+z.used(r.t, Soak)+a.length > MaxPerDayCeiling {
		r.atFreed(z)
		return true
	}
	if a.soak {
		return isSoakSpent(r, z, a)
	}
	if z.spent() || z.used(r.t, "")+a.length > z.maxPerDay() {
		r.atFreed(z)
		return true
	}
	if a.fallback && z.used(r.t, LostProbesTimed)+a.length > z.cfg.Lost.MaxPerDay {
		r.atFreed(z)
		return true
	}
	return false
}

// atFreed makes sure of a look when the next charge leaves the 24 h.
func (r *Room) atFreed(z *zone) {
	for _, o := range z.outs {
		for i := range o.mem.Charges {
			if t := o.mem.Charges[i].End + day; t > r.t {
				r.at(t)
			}
		}
	}
}

func isResting(r *Room, z *zone, a *ask) bool { return r.t < z.restUntil(a.rest) }

// isUnclosed keeps a zone from opening where its rest is over and a valve of its own is not
// known to be closed.
func isUnclosed(r *Room, z *zone, a *ask) bool {
	return r.t >= z.restUntil(a.rest) && z.unclosed() != nil
}

// unclosed gives a valve of the zone that no report has shown closed at our word: the grant
// before may run still, or a plan has just brought it.
func (z *zone) unclosed() *output {
	for _, o := range z.outs {
		if !o.confirmed {
			return o
		}
	}
	return nil
}

func areShotsSpent(_ *Room, z *zone, a *ask) bool {
	w := z.window()
	return w != nil && a.window != "" && w.MaxShots > 0 && z.mem.Progress.Shots >= w.MaxShots
}

// busy reports whether the zone's supply or transformer cannot carry it now: all
// that is open or may be open counts.
func (r *Room) busy(z *zone) bool {
	s := z.supply
	if s == nil {
		return false
	}
	open, flow := len(z.outs), z.cfg.FlowLPH()
	for _, o := range r.outputs {
		if !o.takes(s, r.t) {
			continue
		}
		open++
		if o.zone == nil {
			flow += s.cfg.MaxFlowLPH // its zone left the plan: what it draws is not known
		}
		if !o.confirmed {
			r.at(max(o.deadline, o.born+silentOpen-settleGrace) + settleGrace)
		}
	}
	for _, other := range s.zones {
		if other != z && other.anyOpen(r.t) {
			flow += other.cfg.FlowLPH()
		}
	}
	if open > s.cfg.MaxOpen || (s.cfg.MaxFlowLPH > 0 && flow > s.cfg.MaxFlowLPH) {
		return true
	}
	for _, c := range z.ctls {
		if r.overloaded(c, z) {
			return true
		}
	}
	return false
}

// takes reports whether the output is a valve of the supply that is or may be open at age
// t, or is about to be.
func (o *output) takes(s *supply, t time.Duration) bool {
	return o.of(s) && (o.maybeOpen(t) || o.claimed())
}

// claimed reports whether a run holds the output though it is not open yet.
func (o *output) claimed() bool { return o.zone != nil && o.zone.run != nil }

func (z *zone) anyOpen(t time.Duration) bool {
	for _, o := range z.outs {
		if o.maybeOpen(t) || o.claimed() {
			return true
		}
	}
	return false
}

func (r *Room) overloaded(c *controller, z *zone) bool {
	return r.overloads(c, func(o *output) bool { return o.zone == z || o.master && o.supply == z.supply })
}

// overloads reports whether the controller's transformer cannot hold what is open, take
// the inrush of one more and hold those that open. The healthy output counts always: it is
// taken up whenever all is well, whatever is open then.
func (r *Room) overloads(c *controller, opens func(*output) bool) bool {
	if c.cfg.VA <= 0 || c.cfg.Volts <= 0 {
		return false
	}
	amps, inrush := 0.0, 0.0
	for _, o := range c.outputs {
		more := opens(o) || r.healthy != nil && o == r.healthy.out
		if more || o.maybeOpen(r.t) || o.claimed() {
			amps += o.holding
		}
		if more {
			inrush = max(inrush, o.inrush-o.holding)
		}
	}
	return (amps+inrush)*c.cfg.Volts > c.cfg.VA*(1+1e-9)
}
