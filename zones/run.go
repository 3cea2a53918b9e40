package zones

import "time"

// phase is how far a run is.
type phase uint8

const (
	recording phase = iota // its charge is on the way to the ledger
	leading                // one side of the master is open, the other follows
	opened                 // zone valves are open
	closed                 // commanded closed, not settled yet
)

// run is one watering of one zone: from its charge to its settlement.
type run struct {
	id     string
	zone   *zone
	outs   []*output
	supply *supply
	reason Reason // why it opened
	phase  phase
	lease  time.Duration
	length time.Duration // that was charged
	span   time.Duration // that its grants may reach to, less than length when a plan shortened it
	lead   time.Duration // master before (or pump after) the zone valves
	rec    uint64        // the intent's record
	window string        // instance it belongs to; "" for hand and fallback

	evidence   bool // moisture or quorum asked for it
	moisture   bool // a shot that should be felt
	before     Level
	highBefore Level // highest that the counted shots before it reached
	knew       bool  // before is known
	nearField  bool
	begun      time.Duration // age of the first command of all
	openAt     time.Duration // age at which the zone valves open
	end        time.Duration // age at which they close
	renewed    time.Duration
	behind     bool // a renewal was not sent: it waits for a fresh word
	retry      bool // so did the one before
	masterOn   bool
	valvesOn   bool
	valvesAt   time.Duration // when their first grant went out
	closedAt   time.Duration
	closedWhy  Reason
	keepCharge bool // no refund: nobody can say when it closed
	because    string
	order      string // id of the order, by hand
	plan       *Plan  // in force when it began
	capped     bool   // another plan's max_run shortened it
	cut        bool   // its grants are not renewed: how the outputs close by themselves is watched
}

// ask is what a zone wants to do now, before the interlocks are asked.
type ask struct {
	on       bool
	reason   Reason
	length   time.Duration
	hand     bool
	fallback bool
	soak     bool
	evidence bool
	window   string // instance
	rest     time.Duration
	because  string // "" = by the trigger of the window
	deficit  Level
	outs     []*output // of a walk; nil = all of the zone
	cut      bool
}

// start charges the whole run; nothing opens before the charge is durable.
func (r *Room) start(z *zone, a *ask) *run {
	r.runs++
	run := &run{
		id: "r-" + itoa(int(r.epoch)) + "-" + itoa(r.runs), zone: z, outs: z.outs, supply: z.supply,
		reason: a.reason, lease: r.plan.Lease, length: a.length, span: a.length, evidence: a.evidence, because: z.askWords(a),
		window: a.window, plan: r.plan, cut: a.cut,
	}
	if a.outs != nil {
		run.outs = a.outs
	}
	run.moisture = a.reason == BelowThreshold || a.reason == DriedBack || a.reason == ToLevel
	run.before, run.knew = z.est.value, z.est.known
	run.highBefore = z.mem.Response.High
	run.nearField = r.nearField(z)
	if s := z.supply; s != nil && s.master != nil {
		run.lead = s.cfg.Master.Lead
	}
	p := z.mem.Progress
	if a.window != "" {
		p.Shots++
	}
	rec := &RunRecord{ID: run.id, Zone: z.id, Length: a.length, Reason: a.reason, Progress: p,
		End: r.t + a.length + run.lead, Litres: run.litres(a.length)}
	for _, o := range run.outs {
		rec.Outputs = append(rec.Outputs, o.id)
	}
	if s := z.supply; s != nil && s.master != nil {
		id := s.master.id
		rec.Master = &id
	}
	z.run, z.waiting = run, false
	if a.soak {
		z.soak.begun++
	}
	run.rec = r.record(&Record{Kind: RecIntent, Run: rec, Lease: max(r.mem.Lease, run.lease), Wait: true})
	return run
}

// litres gives what the run's valves give in d, L, each its share of the zone; 0 = unknown.
func (run *run) litres(d time.Duration) float64 {
	return run.zone.litres(d) * float64(len(run.outs)) / float64(max(len(run.zone.outs), 1))
}

// litres gives what the zone gets in d of valve time, L; 0 = unknown.
func (z *zone) litres(d time.Duration) float64 { return z.cfg.FlowLPH() * d.Hours() }

// lookAtRuns moves each run on: open what is durable, renew, close what must be.
func (r *Room) lookAtRuns() {
	for _, z := range r.zones {
		run := z.run
		if run == nil {
			continue
		}
		if why, because, ok := r.mustClose(z, run); ok {
			r.closeRun(run, why, because)
			continue
		}
		switch run.phase {
		case recording:
			if r.durable >= run.rec {
				r.open(run)
			}
		default:
			r.carryOn(run)
		}
	}
	r.handOverMasters()
	r.settleRuns()
}

// handOverMasters lets a run that goes on hold the master of one that was closed. It
// comes after all closings: what closes one run may close them all.
func (r *Room) handOverMasters() {
	for _, s := range r.supplies {
		if !s.handOver {
			continue
		}
		s.handOver = false
		for _, z := range s.zones {
			if run := z.run; run != nil && run.masterOn {
				r.grantMaster(run)
			}
		}
	}
}

// open sends the first grant: the zone's valves, or the master that leads them.
func (r *Room) open(run *run) {
	z, s := run.zone, run.supply
	run.phase, run.begun = opened, r.t
	run.openAt = r.t
	if s != nil && s.master != nil && s.cfg.Master.Kind == MasterValve {
		if since := r.t - s.masterAt; !s.masterOn || since < run.lead {
			run.openAt = r.t + run.lead
			if s.masterOn {
				run.openAt = s.masterAt + run.lead
			}
		}
		run.masterOn = true
	}
	run.end = run.openAt + run.length
	run.renewed = r.t
	r.entry(&Entry{Kind: "run-opened", Zone: z.id, Valve: run.outs[0].valve, Run: run.id, Window: windowName(run.window), Reason: run.reason,
		Because: run.because, Order: run.order})
	if run.openAt > r.t {
		run.phase = leading
	}
	r.grantAll(run)
	r.carryOn(run)
}

// grantAll sends a grant to every output that is due to be open. The master's
// grants bear the run that ends last.
func (r *Room) grantAll(run *run) {
	s := run.supply
	hasMaster := s != nil && s.master != nil
	pump := hasMaster && s.cfg.Master.Kind == MasterPump
	if hasMaster && !pump {
		r.grantMaster(run)
	}
	if r.t >= run.openAt {
		if !run.valvesOn {
			run.valvesOn, run.valvesAt = true, r.t
		}
		for _, o := range run.outs {
			r.grant(o, run, run.span)
		}
	}
	if pump && (run.masterOn || s.masterOn || r.t >= run.openAt+run.lead) {
		r.grantMaster(run)
	}
}

func (r *Room) grantMaster(run *run) {
	s := run.supply
	run.masterOn = true
	for _, z := range s.zones {
		if o := z.run; o != nil && o != run && o.masterOn && (o.end > run.end || o.end == run.end && s.master.run == o.id) {
			return // that run holds the master longer; of two that end together one holds it
		}
	}
	if !s.masterOn {
		s.masterOn, s.masterAt = true, r.t
	}
	r.grant(s.master, run, run.span+run.lead)
}

// carryOn opens what follows the lead, renews what is due, ends in time.
func (r *Room) carryOn(run *run) {
	limit := r.limit(run)
	if r.t >= run.end || r.ranOut(run) || r.t >= limit {
		why, because := ShotDone, sprintf("%s is given", words(run.length))
		if r.t >= limit && r.t < run.end {
			because = sprintf("%s was granted: the gateway was held up as the run began", words((r.t - run.openAt).Round(time.Second)))
		}
		if run.capped {
			why, because = MaxRunReached, sprintf("max_run is %s now", words(run.zone.maxRun()))
		}
		r.closeRun(run, why, because)
		return
	}
	s := run.supply
	if run.phase == leading && r.t >= run.openAt {
		run.phase, run.renewed = opened, r.t
		r.grantAll(run)
	}
	if s != nil && s.master != nil && !run.masterOn {
		if r.t >= run.openAt+run.lead {
			r.grantMaster(run)
		} else {
			r.at(run.openAt + run.lead)
		}
	}
	if r.renewalDue(run) && r.furtherGrant(run) {
		r.renew(run, func() { r.grantAll(run) })
	}
	if run.phase == leading {
		r.at(run.openAt)
	}
	if r.furtherGrant(run) {
		r.awaitRenewal(run)
	}
	for _, o := range run.outs {
		if !o.sawOpen && o.wanted {
			r.at(o.openAt + openShownIn)
		}
	}
	if run.masterOn && !s.master.sawOpen {
		r.at(s.master.openAt + openShownIn)
	}
	r.at(run.end)
	r.at(limit)
}

// closeRun commands the close first, then records and tells it.
func (r *Room) closeRun(run *run, why Reason, because string) {
	z := run.zone
	was := run.phase
	run.phase, run.closedAt, run.closedWhy = closed, r.t, why
	z.run = nil
	if was != recording {
		r.closeMaster(run, why)
		for _, o := range run.outs {
			if o.wanted {
				r.closeOutput(o, run.id, why)
			} else if !run.valvesOn {
				o.confirmed = o.confirmed || !o.granted
			}
		}
	}
	r.record(&Record{Kind: RecClose, Run: &RunRecord{ID: run.id, Zone: z.id, Outputs: ids(run.outs), Reason: why, Opened: run.reason, Progress: z.mem.Progress}})
	sec := 0.0
	if run.valvesOn {
		sec = max(0, min(r.t, run.lastDeadline())-run.valvesAt).Seconds()
	}
	r.entry(&Entry{Kind: "run-closed", Zone: z.id, Valve: run.outs[0].valve, Run: run.id, Reason: why, Because: because,
		Seconds: sec, Litres: run.litres(time.Duration(sec * float64(time.Second)))})
	z.wateredBlind(time.Duration(sec * float64(time.Second)))
	r.settling = append(r.settling, run)
	if run.valvesOn && run.moisture && why == ShotDone {
		r.countShot(z, run)
	}
	if run.valvesOn {
		r.clearHighs(z)
	}
	if why != ShotDone {
		z.refusals[why]++
	}
	if run.reason == Soak {
		r.soaked(z, time.Duration(sec*float64(time.Second)), why, because)
	}
	r.dirty = true
}

// lastDeadline gives the age at which the last grant of the run's valves runs out:
// they let through nothing after it, however late the close is.
func (run *run) lastDeadline() time.Duration {
	var last time.Duration
	for _, o := range run.outs {
		last = max(last, o.deadline)
	}
	return last
}

// closeMaster closes the master with the last run that needs it.
func (r *Room) closeMaster(run *run, why Reason) {
	s := run.supply
	if s == nil || s.master == nil || !s.masterOn {
		return
	}
	for _, z := range s.zones {
		if o := z.run; o != nil && o != run && o.masterOn {
			s.handOver, r.dirty = true, true
			return
		}
	}
	s.masterOn, s.handOver = false, false
	r.closeOutput(s.master, run.id, why)
}

func ids(outs []*output) []Output {
	v := make([]Output, len(outs))
	for i, o := range outs {
		v[i] = o.id
	}
	return v
}
