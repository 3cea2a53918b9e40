package zones

import (
	"slices"
	"time"
)

// Bounds of the output that says that all is well (chosen here).
const (
	healthyTurn     = 10 * time.Minute // its grants bear a new run so often: none gets near a ceiling
	healthyAgain    = time.Minute      // after it was dropped it stays so for this long
	healthyPatience = time.Hour        // so long it bears with what mostly goes by itself
)

// Healthy is the reason that commands to the healthy output bear while all is well.
const Healthy Reason = "healthy"

// healthyID stands where commands name a valve.
const healthyID = "healthy"

// urgent are the alarms that drop the healthy output while they stand unacknowledged:
// those for which somebody has to come, for the floor or for the crop.
var urgent = []Reason{SecondGateway, CrashLoop, StoreFailed, LeakFound, ValveMismatch, BrokerLost, ControllerOffline, SupplyIsLow,
	NoResponse, ProbesLost, ProbesImplausible, AlarmDry}

// lasting are those that do so once they have stood for healthyPatience. A shot that goes a
// little too far and a clock that is not set yet after a start are over by then. A valve
// that hangs open is not, nor a clock that keeps the windows shut: nothing else tells of
// the first where there is no meter, nor of the second before plants wilt.
var lasting = []Reason{OverWet, ClockUnsure}

// healthy is the output that is held by grants while all is well. Whatever dies lets it
// go: its horn or dialler needs nothing of us. It is no valve: no run, budget, supply or
// meter counts it.
type healthy struct {
	out     *output
	turn    *run // what its grants bear; nil = dropped
	turns   int
	since   time.Duration // age since which it is held, or not
	dropped time.Duration // age of the last drop
	because string        // why it is not held
}

// fitHealthy takes the output over from the plan before, or closes the one that left.
func (r *Room) fitHealthy(p *Plan) {
	h := r.healthy
	gone := p.Healthy == nil || r.controlBy[p.Healthy.Controller] == nil
	if h != nil && (gone || *p.Healthy != h.out.id) {
		r.dropHealthy(PlanChanged, "the plan changed")
		r.healthy = nil
	}
	if gone {
		return
	}
	if r.healthy == nil {
		o := newOutput(*p.Healthy, r.t)
		o.mem, o.valve = &OutputMemory{}, healthyID
		r.healthy = &healthy{out: o, since: r.t, dropped: neverHeard, because: "it is told to let go first, as every output at a start"}
	}
	o := r.healthy.out
	o.holding, o.inrush = p.HealthyPart.Holding, p.HealthyPart.Inrush
	o.ctl = r.controlBy[p.Healthy.Controller]
	o.ctl.outputs = append(o.ctl.outputs, o)
}

// lookAtHealthy holds the output or drops it, as the alarms now stand.
func (r *Room) lookAtHealthy() {
	h := r.healthy
	if h == nil {
		return
	}
	why, because := r.unwell(h)
	switch {
	case why != NoReason && h.turn != nil:
		r.dropHealthy(why, because)
	case why != NoReason:
		h.because = because
	case h.turn != nil:
		r.holdOn(h)
	case r.t < h.dropped+healthyAgain:
		r.at(h.dropped + healthyAgain)
	case !h.out.confirmed:
		h.because = "it was told to let go and no report shows that it did"
	case r.overloads(h.out.ctl, func(o *output) bool { return o == h.out }):
		h.because = "the transformer of " + h.out.ctl.id + " cannot take it beside what is open"
	default:
		r.pickUp(h)
	}
	if h.turn == nil {
		r.repeatClose(h.out)
	}
}

// unwell says why the output may not be held: an urgent alarm, or that its controller is
// not known to obey.
func (r *Room) unwell(h *healthy) (Reason, string) {
	o := h.out
	for _, a := range r.alarms {
		if from, ok := r.urgentFrom(a); ok && r.t < from {
			r.at(from)
		} else if ok {
			return a.code, sprintf("%s of %s: %s", a.code, a.subject, a.because)
		}
	}
	switch {
	case r.plan.HealthyPart.Never != "":
		return AlarmPlanRejected, r.plan.HealthyPart.Never
	case r.ended:
		return StoppedByPerson, "the daemon is told to end"
	case r.t < r.holdTo || !r.epochSafe || !o.ctl.ready:
		return Starting, "controller " + o.ctl.id + " has not yet reported all its outputs closed"
	case r.storeBroken != "":
		return StoreFailed, "the ledger cannot be written"
	case !r.brokerUp:
		return BrokerLost, "the command connection to the broker is down"
	case !o.ctl.usable():
		return ControllerOffline, controllerWords(o.ctl)
	case o.wanted && (o.untilBoot != o.ctl.boot || r.t > o.deadline):
		return ControllerOffline, "its grant ran out before it was renewed"
	case o.wanted && o.shown && !o.open && o.carries(o.openSeq, r.epoch):
		return ValveMismatch, "it is reported dropped though it was told to hold"
	}
	return NoReason, ""
}

// urgentFrom gives the age from which an alarm drops the healthy output; false = it does
// not. A bed that was soaked is wet by a person's will, as far as soaks may wet it.
func (r *Room) urgentFrom(a *alarm) (from time.Duration, ok bool) {
	switch {
	case a.acked:
		return 0, false
	case slices.Contains(urgent, a.code):
		return a.age, true
	case !slices.Contains(lasting, a.code):
		return 0, false
	}
	if z := r.zoneBy[a.subject]; a.code == OverWet && z != nil {
		if l := z.cfg.Limits.Soak; l != nil && z.used(r.t, Soak) > 0 && z.est.value < l.MaxMoisture {
			return 0, false
		}
	}
	return a.age + healthyPatience, true
}

// pickUp begins to hold it, by a run that was never closed.
func (r *Room) pickUp(h *healthy) {
	r.entry(&Entry{Kind: "healthy", Because: "all is well: output " + h.out.id.String() + " is held"})
	r.nextTurn(h)
}

// nextTurn grants under a new run, without a gap where the one before still holds.
func (r *Room) nextTurn(h *healthy) {
	if h.turn == nil {
		h.since = r.t
	}
	h.turns++
	h.turn = &run{id: "h-" + itoa(int(r.epoch)) + "-" + itoa(h.turns), outs: []*output{h.out}, reason: Healthy, phase: opened,
		lease: r.plan.Lease, length: healthyTurn, span: healthyTurn, openAt: r.t, end: r.t + healthyTurn, renewed: r.t}
	h.because = ""
	r.grant(h.out, h.turn, h.turn.span)
	r.awaitRenewal(h.turn)
}

// holdOn renews its grant every third of a lease, on a fresh word of its controller.
func (r *Room) holdOn(h *healthy) {
	turn := h.turn
	turn.lease = min(turn.lease, r.plan.Lease) // a plan may have made it shorter
	fresh := r.t <= h.out.ctl.arrived+freshWord
	if r.t >= turn.end-turn.lease && fresh {
		r.nextTurn(h)
		return
	}
	if r.renewalDue(turn) {
		r.renew(turn, func() { r.grant(h.out, turn, turn.span) })
	}
	r.awaitRenewal(turn)
	if r.awaitWord(h.out, turn.end-turn.lease) { // it begins the next turn
		r.at(turn.end - turn.lease)
	}
	r.at(h.out.deadline + 1)
}

// dropHealthy lets it go at once.
func (r *Room) dropHealthy(why Reason, because string) {
	h := r.healthy
	if h == nil || h.turn == nil {
		return
	}
	id := h.turn.id
	h.turn, h.since, h.dropped, h.because = nil, r.t, r.t, because
	r.closeOutput(h.out, id, why)
	r.entry(&Entry{Kind: "healthy-dropped", Reason: why, Because: because})
}
