package zones

import (
	"slices"
	"time"
)

// Bounds of the output that says that all is well (chosen here).
const (
	healthyTurn  = 10 * time.Minute // its grants bear a new run so often: none gets near a ceiling
	healthyAgain = time.Minute      // after it was dropped it stays so for this long
)

// Healthy is the reason that commands to the healthy output bear while all is well.
const Healthy Reason = "healthy"

// healthyID stands where commands name a valve.
const healthyID = "healthy"

// urgent are the alarms that drop the healthy output while they stand unacknowledged:
// those for which somebody has to come, for the floor or for the crop.
var urgent = []Reason{SecondGateway, CrashLoop, StoreFailed, LeakFound, ValveMismatch, BrokerLost, ControllerOffline, SupplyIsLow,
	NoResponse, ProbesLost, ProbesImplausible, AlarmDry}

// healthy is the output that is held by grants while all is well. Whatever dies lets it
// go: its horn or dialler needs nothing of us. It is no valve: no run, budget, supply or
// meter counts it.
type healthy struct {
	out     *output
	turn    *run // what its grants bear; nil = dropped
	turns   int
	dropped time.Duration // age of the last drop
	because string        // why it is not held
}

// HealthyView is the output that is held while all is well.
type HealthyView struct {
	Output  Output `json:"output"`
	Held    bool   `json:"held"`
	Because string `json:"because"` // why it is not held
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
		r.healthy = &healthy{out: o, dropped: neverHeard, because: "it is told to let go first, as every output at a start"}
	}
	o := r.healthy.out
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
	case h.out.confirmed:
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
		if !a.acked && slices.Contains(urgent, a.code) {
			return a.code, sprintf("%s of %s: %s", a.code, a.subject, a.because)
		}
	}
	switch {
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

// pickUp begins to hold it, by a run that was never closed.
func (r *Room) pickUp(h *healthy) {
	r.entry(&Entry{Kind: "healthy", Because: "all is well: output " + h.out.id.String() + " is held"})
	r.nextTurn(h)
}

// nextTurn grants under a new run, without a gap where the one before still holds.
func (r *Room) nextTurn(h *healthy) {
	h.turns++
	h.turn = &run{id: "h-" + itoa(int(r.epoch)) + "-" + itoa(h.turns), outs: []*output{h.out}, reason: Healthy, phase: opened,
		lease: r.plan.Lease, length: healthyTurn, span: healthyTurn, openAt: r.t, end: r.t + healthyTurn, renewed: r.t}
	h.because = ""
	r.grant(h.out, h.turn, h.turn.span)
	r.at(r.t + h.turn.lease/3)
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
	if r.t >= turn.end-turn.lease {
		h.out.ctl.awaited = true // the next word begins the next turn
	}
	r.at(turn.renewed + turn.lease/3)
	r.at(turn.end - turn.lease)
	r.at(h.out.deadline + 1)
}

// dropHealthy lets it go at once.
func (r *Room) dropHealthy(why Reason, because string) {
	h := r.healthy
	if h == nil || h.turn == nil {
		return
	}
	id := h.turn.id
	h.turn, h.dropped, h.because = nil, r.t, because
	r.closeOutput(h.out, id, why)
	r.entry(&Entry{Kind: "healthy-dropped", Reason: why, Because: because})
}

func (r *Room) healthyView() *HealthyView {
	h := r.healthy
	if h == nil {
		return nil
	}
	v := &HealthyView{Output: h.out.id, Held: h.turn != nil && h.out.sawOpen, Because: h.because}
	if h.turn != nil && !v.Held {
		v.Because = "no report shows it held yet"
	}
	return v
}
