package zones

import (
	"slices"
	"time"

	"rillgate/schedule"
)

// zone is the runtime of one zone of the plan.
type zone struct {
	cfg    *Zone
	mem    *ZoneMemory
	id     string
	outs   []*output
	supply *supply
	ctls   []*controller
	probes []*probe

	est     estimate
	mark    string // of its wiring; "" = to be reckoned
	sit     schedule.Situation
	sitSet  bool
	nextIn  schedule.Instance // the next to open, when nextSet and nextOK
	nextSet bool
	nextOK  bool
	trigger schedule.Trigger
	ask     ask
	run     *run
	soak    *soak // nil = none is on
	waiting bool
	since   time.Duration // waiting for the supply since this age
	passed  bool          // queued when its window shut; until the next opens

	state    ZoneState
	reason   Reason // of this look
	told     Reason // last told
	refusals map[Reason]int

	refusedBy Reason // last refusal that was told
	refusedAt time.Duration

	lo, hi  Level // moisture between them changes nothing
	fallTop Level // a fall under it changes nothing
	urgent  bool  // progress to be recorded now
	changed bool  // progress to be recorded within a minute
	dry     dryState

	poreBand, warmBand bandState
	taught             Taught
	usualSpread        float64       // points, standard deviation of three counting probes or more; 0 = never seen
	doubtAt            time.Duration // LevelHalf is reckoned anew at this age
}

// supply is the runtime of one supply.
type supply struct {
	cfg      *Supply
	zones    []*zone
	master   *output
	masterAt time.Duration // age at which the master was opened
	masterOn bool
	handOver bool // the run whose grants it bore was closed, another goes on
}

// input is the runtime of one declared input.
type input struct {
	cfg    *Input
	ctl    *controller
	active bool
	known  bool
	heard  time.Duration
	wait   bool // a retained "inactive" came before its controller reported
}

// build makes the runtime of a plan, taking over what exists for the same output,
// controller, place or zone.
func (r *Room) build(p *Plan) {
	r.plan = p
	r.buildControllers(p)
	oldZones := r.zoneBy
	r.zoneBy = map[string]*zone{}
	r.zones = r.zones[:0:0]
	r.buildOutputs(p)
	for i := range p.Zones {
		z := oldZones[p.Zones[i].ID]
		if z == nil {
			z = &zone{refusals: map[Reason]int{}, reason: NoReason}
			z.dry = dryOf(oldZones, outputsOf(p, &p.Zones[i]))
		}
		r.fitZone(z, &p.Zones[i])
	}
	slices.SortFunc(r.zones, func(a, b *zone) int { return compare(a.id, b.id) })
	r.moveHolds()
	r.reconcile()
	r.buildProbes(p)
	r.dropAlarms()
	r.dirty = true
}

// dryOf gives how long the bed behind some outputs was dry or refused, under whatever
// name: a renamed zone does not begin anew.
func dryOf(old map[string]*zone, outs []Output) dryState {
	for _, id := range sortedKeys(old) {
		if z := old[id]; len(outs) > 0 && slices.Equal(ids(z.outs), outs) {
			return z.dry
		}
	}
	return dryState{}
}

// outputsOf gives the outputs of a zone's valves, in the plan's order.
func outputsOf(p *Plan, z *Zone) (outs []Output) {
	for i := range p.Valves {
		if slices.Contains(z.Valves, p.Valves[i].ID) {
			outs = append(outs, p.Valves[i].Output)
		}
	}
	return outs
}

func (r *Room) buildControllers(p *Plan) {
	old, oldInputs := r.controlBy, r.inputs
	r.controlBy = map[string]*controller{}
	r.controllers, r.inputs = nil, nil
	for i := range p.Controllers {
		cfg := &p.Controllers[i]
		c := old[cfg.ID]
		if c == nil {
			c = newController(cfg.ID, r.t)
		}
		c.cfg = cfg
		c.outputs = nil
		r.controlBy[cfg.ID] = c
		r.controllers = append(r.controllers, c)
		for k := range cfg.Inputs {
			in := &input{cfg: &cfg.Inputs[k], ctl: c, heard: r.t}
			for _, o := range oldInputs {
				if o.ctl == c && o.cfg.ID == in.cfg.ID {
					in.active, in.known, in.heard = o.active, o.known, o.heard
				}
			}
			r.inputs = append(r.inputs, in)
		}
	}
	slices.SortFunc(r.controllers, func(a, b *controller) int { return compare(a.id, b.id) })
	for id, c := range old { // order: each for itself
		if r.controlBy[id] == nil {
			c.online, c.outputs = false, nil // nobody listens to it any more
		}
	}
}

// buildOutputs fits outputs of the plan. One that left the plan stays loose until it is
// known to be closed and not latched open; at a start, so does one that is remembered.
func (r *Room) buildOutputs(p *Plan) {
	old, oldSupplies := r.outputs, r.supplies
	if r.outputBy == nil {
		old = r.rememberedOutputs()
	}
	r.outputs, r.supplies = nil, nil
	r.outputBy = map[Output]*output{}
	fit := func(id string, at Output) *output {
		var o *output
		if i := slices.IndexFunc(old, func(x *output) bool { return x.id == at }); i >= 0 {
			o = old[i]
		} else {
			o = newOutput(at, r.t)
		}
		o.valve, o.zone, o.supply, o.master, o.loose, o.trunk = id, nil, nil, false, false, false
		o.ctl, o.mem = r.controlBy[at.Controller], r.mem.output(at)
		r.outputBy[at] = o
		r.outputs = append(r.outputs, o)
		return o
	}
	for i := range p.Supplies {
		s := &supply{cfg: &p.Supplies[i]}
		if m := s.cfg.Master; m != nil {
			s.master = fit(s.cfg.ID+"-master", m.Output)
			s.master.master, s.master.supply = true, s
			s.master.holding, s.master.inrush = m.Holding, m.Inrush
			s.takeOver(oldSupplies)
		}
		r.supplies = append(r.supplies, s)
	}
	for i := range p.Valves {
		v := &p.Valves[i]
		o := fit(v.ID, v.Output)
		o.holding, o.inrush = v.Holding, v.Inrush
		o.supply = r.supplyOf(v.Supply)
	}
	for _, o := range old {
		stays := !o.confirmed || hasLatch(r.mem.output(o.id).Latches, ValveMismatch) != nil
		if r.outputBy[o.id] == nil && stays && r.hasHands(o) && (p.Healthy == nil || *p.Healthy != o.id) {
			r.loosen(o)
		}
	}
	slices.SortFunc(r.outputs, func(a, b *output) int { return compareOutput(a.id, b.id) })
	for _, o := range r.outputs {
		o.ctl.outputs = append(o.ctl.outputs, o)
	}
	r.fitHealthy(p)
}

// takeOver keeps a master open over a plan that leaves it where it is.
func (s *supply) takeOver(old []*supply) {
	for _, o := range old {
		if o.master == s.master {
			s.masterOn, s.masterAt, s.handOver = o.masterOn, o.masterAt, o.handOver
		}
	}
}

func (r *Room) supplyOf(id string) *supply {
	for _, s := range r.supplies {
		if s.cfg.ID == id {
			return s
		}
	}
	return nil
}

func (r *Room) fitZone(z *zone, cfg *Zone) {
	if z.cfg != nil && (z.cfg.PoreEC != cfg.PoreEC || z.cfg.RootTemperature != cfg.RootTemperature) {
		z.poreBand, z.warmBand = bandState{}, bandState{}
	}
	z.cfg, z.id, z.mem = cfg, cfg.ID, r.mem.zone(cfg.ID)
	z.outs, z.ctls, z.probes, z.supply = nil, nil, nil, nil
	z.sitSet, z.mark = false, ""
	r.lightsTo = time.Time{}
	for i := range r.plan.Valves {
		v := &r.plan.Valves[i]
		if !slices.Contains(cfg.Valves, v.ID) {
			continue
		}
		o := r.outputBy[v.Output]
		o.zone = z
		z.outs = append(z.outs, o)
		if z.supply == nil {
			z.supply = o.supply
		}
		if !slices.Contains(z.ctls, o.ctl) {
			z.ctls = append(z.ctls, o.ctl)
		}
	}
	if z.run != nil {
		z.run.supply = z.supply
	}
	if s := z.supply; s != nil {
		s.zones = append(s.zones, z)
		if s.master != nil && !slices.Contains(z.ctls, s.master.ctl) {
			z.ctls = append(z.ctls, s.master.ctl)
		}
	}
	r.zones = append(r.zones, z)
	r.zoneBy[z.id] = z
}

// newPlan puts another plan in force. What leaves closes first; a run that goes on
// keeps the shorter of its old and its new bounds.
func (r *Room) newPlan(p *Plan) {
	r.endSoaksWithout(p)
	for _, z := range r.zones {
		if z.run == nil {
			continue
		}
		if !sameOutputs(z, p) {
			r.closeRun(z.run, PlanChanged, "its valves left the plan")
		}
	}
	for _, o := range r.outputs {
		if !planHas(p, o.id) {
			r.closeOutput(o, "", PlanChanged)
		}
	}
	r.build(p)
	for _, z := range r.zones {
		if run := z.run; run != nil {
			run.lease = min(run.lease, p.Lease)
			if end := run.openAt + z.maxRun(); run.phase != recording && end < run.end {
				run.end, run.span, run.capped = end, z.maxRun(), true
			}
		}
	}
	r.record(&Record{Kind: RecPlan, Plan: p.Hash})
	r.entry(&Entry{Kind: "plan", Because: "plan " + p.Hash + " is in force"})
}

// sameOutputs reports whether the plan keeps the zone with the same outputs.
func sameOutputs(z *zone, p *Plan) bool {
	i := slices.IndexFunc(p.Zones, func(n Zone) bool { return n.ID == z.id })
	if i < 0 {
		return false
	}
	for k := range p.Valves {
		if slices.Contains(p.Zones[i].Valves, p.Valves[k].ID) && !sameMaster(z.supply, p, p.Valves[k].Supply) {
			return false
		}
	}
	have := outputsOf(p, &p.Zones[i])
	if len(have) != len(z.outs) {
		return false
	}
	for _, o := range z.outs {
		if !slices.Contains(have, o.id) {
			return false
		}
	}
	return true
}

// sameMaster reports whether the plan hangs the zone on the same master, or on none.
func sameMaster(s *supply, p *Plan, id string) bool {
	var now, next *Master
	if s != nil {
		now = s.cfg.Master
	}
	for i := range p.Supplies {
		if p.Supplies[i].ID == id {
			next = p.Supplies[i].Master
		}
	}
	if now == nil || next == nil {
		return now == next
	}
	return now.Output == next.Output && now.Kind == next.Kind
}

func planHas(p *Plan, o Output) bool {
	for i := range p.Valves {
		if p.Valves[i].Output == o {
			return true
		}
	}
	for i := range p.Supplies {
		if m := p.Supplies[i].Master; m != nil && m.Output == o {
			return true
		}
	}
	return false
}
