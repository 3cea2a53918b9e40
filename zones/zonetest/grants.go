package zonetest

import (
	"slices"
	"time"

	"rillgate/zones"
)

// command checks one command: INV-1, 3, 6, 7, 9, 10, 11, 12, 15, 16, 23, 24, 30.
func (c *Checker) command(cmd *zones.Command) {
	o := c.out(cmd.Output)
	now := pair{cmd.Epoch, cmd.Seq}
	borrowed := c.borrowed(cmd)
	if !(pair{c.epoch, c.seq}).before(now) && !borrowed {
		c.breach(12, "command %d/%d to %s after %d/%d", cmd.Epoch, cmd.Seq, cmd.Output, c.epoch, c.seq)
	}
	c.epoch, c.seq = cmd.Epoch, cmd.Seq
	if o.firstEpoch != cmd.Epoch {
		o.firstEpoch = cmd.Epoch
		if cmd.Open {
			c.breach(11, "the first command to %s in epoch %d opens it", cmd.Output, cmd.Epoch)
		}
	}
	if cmd.Open {
		c.grant(cmd, o)
	} else {
		if o.commanded || o.closeAt.epoch != now.epoch { // a close said again is the same close
			o.closeAt, o.toldAt, o.ackClosed, o.wrongSince = now, c.now.Mono, false, 0
		}
		o.lastClose, o.toldBy = now, c.process.number
		c.closing(cmd, o)
	}
	o.epoch, o.seq, o.commanded = cmd.Epoch, cmd.Seq, cmd.Open
}

// borrowed reports whether a close bears an epoch that some process used before it
// was durable: a ledger that fails lets no epoch become so, a close needs no disk,
// and the next process takes the same epoch, or a lower one, until it sees the higher
// one in reports.
func (c *Checker) borrowed(cmd *zones.Command) bool {
	if c.process.epoch > c.durable {
		c.loose[cmd.Epoch] = true
	}
	return !cmd.Open && (c.loose[cmd.Epoch] || c.loose[c.epoch])
}

// closing books that a run is being closed on an output.
func (c *Checker) closing(cmd *zones.Command, o *output) {
	if r := c.runs[o.openRun]; r != nil && (cmd.Run == "" || cmd.Run == r.id) {
		r.closing = true
	}
}

// grant checks an opening or a renewal.
func (c *Checker) grant(cmd *zones.Command, o *output) {
	until := time.Duration(cmd.UntilMS) * time.Millisecond
	ctl := c.ctl(cmd.Output.Controller)
	up := c.uptimeNow(cmd.Output.Controller)
	lease := c.plan.Lease
	if until > up+lease+slack {
		c.breach(1, "grant on %s ends %s ahead, lease %s", cmd.Output, until-up, lease)
	}
	if cmd.Boot != ctl.boot {
		c.breach(12, "grant on %s names boot %q, the controller's is %q", cmd.Output, cmd.Boot, ctl.boot)
	}
	c.bootHold(cmd, o, ctl)
	c.mayOpen(cmd)
	switch holding, _ := Load(c.plan, cmd.Output); {
	case c.valve(cmd.Output) != nil:
		c.runGrant(cmd, o, until, up)
	case holding > 0 && !c.maybeOpen(cmd.Output):
		c.limitTransformer(cmd)
	}
	end := c.now.Mono + until - up
	if o.granted { // the one before stands until a report shows the close, or a longer one of this run
		end = max(end, o.deadline)
	}
	o.deadline, o.late = end, slack+(until-up)/200 // its clock may run off until that shows
	o.granted, o.openRun, o.ackClosed, o.wrongSince, o.heldOn = true, cmd.Run, false, 0, false
}

// leased is a lease that a record bears.
type leased struct {
	seq uint64
	by  time.Duration
}

// keptLease gives the last lease of the ledger as the next process finds it, and forgets
// those before it.
func (c *Checker) keptLease() time.Duration {
	c.leases = slices.DeleteFunc(c.leases, func(l leased) bool { return l.seq > c.durable })
	if len(c.leases) == 0 {
		return 0
	}
	last := c.leases[len(c.leases)-1]
	c.leases = append(c.leases[:0], leased{by: last.by})
	return last.by
}

// bootHold is INV-10.
func (c *Checker) bootHold(cmd *zones.Command, o *output, ctl *controller) {
	if hold := bootHold + c.process.lease; c.now.Mono-c.process.start < hold {
		c.breach(10, "%s opens %s after the start, hold is %s", cmd.Output, c.now.Mono-c.process.start, hold)
	}
	if ctl.reports < 2 {
		c.breach(10, "%s opens after %d reports of boot %q", cmd.Output, ctl.reports, ctl.boot)
	}
	if !o.confirmed {
		c.breach(10, "%s opens before it was reported closed under epoch %d", cmd.Output, cmd.Epoch)
	}
}

// mayOpen: nothing opens after a shutdown, on a failed ledger, under a latch or the
// crash-loop brake.
func (c *Checker) mayOpen(cmd *zones.Command) {
	if c.process.clean {
		c.breach(2, "%s opens after the shutdown", cmd.Output)
	}
	c.held(cmd)
	if c.process.failed != 0 {
		c.breach(24, "%s opens although a record could not be made durable", cmd.Output)
	}
	if c.braked && !(c.healthy(cmd.Output) && c.known(c.brakeAt)) {
		c.breach(30, "%s opens in a crash loop that nobody reset", cmd.Output)
	}
	if l := c.latchOver(cmd); l != nil {
		c.breach(23, "%s opens under the latch %s", cmd.Output, l.code)
	}
}

// runGrant checks a grant on a zone's valve against its run.
func (c *Checker) runGrant(cmd *zones.Command, o *output, until, up time.Duration) {
	r := c.runs[cmd.Run]
	if r == nil || r.process != c.process.number || r.seq > c.durable {
		c.breach(3, "grant for run %q on %s without a durable intent of this process", cmd.Run, cmd.Output)
		return
	}
	if r.closes > 0 || r.closing && !c.sibling(r, o) {
		c.breach(3, "grant for run %q, which was closed", cmd.Run)
	}
	if _, ok := r.base[cmd.Output]; !ok {
		if o.granted && !o.ackClosed && o.closeAt != (pair{}) {
			c.breach(9, "run %s opens %s, whose close before no report has shown", r.id, cmd.Output)
		}
		r.base[cmd.Output] = up
		c.limitSupply(cmd)
		c.limitTransformer(cmd)
	}
	if until > r.base[cmd.Output]+r.bound+slack {
		c.breach(1, "grant on %s ends %s after the run's first grant, the run is %s", cmd.Output, until-r.base[cmd.Output], r.bound)
	}
	c.evidence(cmd, r)
	if !r.started {
		r.started, r.start = true, c.now.Mono
		c.startRun(r)
	}
}

// sibling reports whether this output of the run was not closed yet.
func (c *Checker) sibling(r *run, o *output) bool { return o.openRun == r.id && o.commanded }

// left is a valve that a plan left out.
type left struct {
	supply string
	since  time.Duration
	closed bool // and known to be closed then: what it does later is nobody's
}

// leave notes the valves that a new plan leaves out: what is open goes on drawing from its
// supply.
func (c *Checker) leave(p *zones.Plan) {
	for i := range p.Valves {
		at := p.Valves[i].Output
		if c.gone[at].closed { // it is watched from now on
			c.out(at).wrongSince = 0
		}
		delete(c.gone, at)
	}
	for i := range c.plan.Valves {
		v := &c.plan.Valves[i]
		if !slices.ContainsFunc(p.Valves, func(w zones.Valve) bool { return w.Output == v.Output }) {
			c.gone[v.Output] = left{v.Supply, c.now.Mono, c.out(v.Output).ackClosed}
		}
	}
}

// limitSupply is INV-6 at an opening.
func (c *Checker) limitSupply(cmd *zones.Command) {
	v := c.valve(cmd.Output)
	s := c.supply(v.Supply)
	open, flow := 1, 0.0
	counted := map[string]bool{}
	if z := c.zoneOf(v.ID); z != nil {
		flow, counted[z.ID] = z.FlowLPH(), true
	}
	for i := range c.plan.Valves {
		w := &c.plan.Valves[i]
		if w.Supply != v.Supply || w.Output == cmd.Output || !c.maybeOpen(w.Output) {
			continue
		}
		open++
		if z := c.zoneOf(w.ID); z != nil && !counted[z.ID] {
			flow += z.FlowLPH()
			counted[z.ID] = true
		}
	}
	for at, l := range c.gone {
		if l.supply == v.Supply && c.maybeOpen(at) {
			open++
		}
	}
	if open > s.MaxOpen {
		c.breach(6, "%s opens as number %d on supply %s, max_open %d", cmd.Output, open, s.ID, s.MaxOpen)
	}
	if s.MaxFlowLPH > 0 && flow > s.MaxFlowLPH*1.000001 {
		c.breach(6, "%s opens to %.1f L/h on supply %s, max_flow %.1f", cmd.Output, flow, s.ID, s.MaxFlowLPH)
	}
}

// limitTransformer is INV-6 for what feeds a controller's outputs: it holds what is open,
// and takes the inrush of what opens.
func (c *Checker) limitTransformer(cmd *zones.Command) {
	va, amps, inrush := 0.0, 0.0, 0.0
	for i := range c.plan.Controllers {
		if p := &c.plan.Controllers[i]; p.ID == cmd.Output.Controller {
			va = p.VA
			if amps, inrush = Load(c.plan, cmd.Output); p.Volts > 0 {
				va /= p.Volts
			}
		}
	}
	for _, o := range c.outputs {
		if o.at.Controller == cmd.Output.Controller && o.at != cmd.Output && c.maybeOpen(o.at) {
			holding, _ := Load(c.plan, o.at)
			amps += holding
		}
	}
	if amps = amps + inrush; va > 0 && amps > va*1.000001 {
		c.breach(6, "%s opens to %.3f A, its transformer has %.3f A", cmd.Output, amps, va)
	}
}

// Load gives what an output's solenoid holds with, and what more it takes as it pulls
// in, A; nothing where the plan does not say.
func Load(p *zones.Plan, at zones.Output) (holding, inrush float64) {
	for i := range p.Valves {
		if v := &p.Valves[i]; v.Output == at {
			return v.Holding, max(0, v.Inrush-v.Holding)
		}
	}
	for i := range p.Supplies {
		if m := p.Supplies[i].Master; m != nil && m.Output == at {
			return m.Holding, max(0, m.Inrush-m.Holding)
		}
	}
	if p.Healthy != nil && *p.Healthy == at {
		return p.HealthyPart.Holding, max(0, p.HealthyPart.Inrush-p.HealthyPart.Holding)
	}
	return 0, 0
}

// maybeOpen reports whether an output can be open: its contact is on, or a grant
// may still run, or it was not heard of since the start.
func (c *Checker) maybeOpen(at zones.Output) bool {
	o := c.out(at)
	if o.open || o.granted && c.now.Mono < o.deadline {
		return true
	}
	return !o.confirmed && !o.ackClosed && c.now.Mono-c.process.start < silentOpen
}

// Physical takes a contact that moved: INV-1, 2, 4, 6.
func (c *Checker) Physical(now zones.Instant, at zones.Output, open bool) {
	c.now = now
	o := c.out(at)
	if open == o.open {
		return
	}
	o.open = open
	if open {
		o.openSince = now.Mono
		c.granted(at, o)
		return
	}
	o.intervals = append(o.intervals, interval{o.openSince, now.Mono, o.openRun})
	c.afterRun(at, o, now.Mono-o.openSince)
}

// granted is INV-2: an open contact has a grant that has not run out.
func (c *Checker) granted(at zones.Output, o *output) {
	if !o.granted || c.now.Mono > o.deadline+o.late {
		c.breach(2, "%s is open without a grant", at)
	}
}
