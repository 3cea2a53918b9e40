package simroom

import (
	"fmt"
	"sort"
	"time"

	"rillgate/zones"
)

// longestGrant is how far ahead of its uptime a controller takes a deadline.
const longestGrant = 15 * time.Minute

// controller keeps the controller's side of the field topics.
type controller struct {
	id     string
	boot   string
	boots  uint32
	rnd    stream
	since  time.Duration // instant at which uptime was base
	base   int64         // ms
	ppm    float64       // its crystal runs off by this much
	epoch  uint32
	seq    uint32
	outs   []*output // in order of number
	inputs []*input
	lines  []*terminal

	nextReport time.Duration
	nextInputs time.Duration
	down       int // faults that keep it without power
	away       int // faults that cut it off the broker
	mute       int // faults that keep its reports back
	noCutOff   int // faults (or the option) that keep outputs open past the deadline
}

// output is one output and the solenoid valve on it.
type output struct {
	at       zones.Output
	valve    string
	on       bool          // holds current
	run      string        // the last run; it never opens again once closed
	closed   bool          // that run has been closed
	until    int64         // ms of uptime
	drop     time.Duration // instant at which it drops by itself; Never when it does not
	meter    bool
	dry      bool // it is no valve
	stuckOn  int  // faults: valve passes although the output is off
	stuckOff int  // faults: valve passes nothing
	welded   int  // faults: the output is on whatever is commanded
	dead     int  // faults: the output stays off whatever is commanded
	driven   []Interval
	opened   []Interval
}

// energised is what a read-back of the output shows.
func (o *output) energised() bool { return (o.on || o.welded > 0) && o.dead == 0 }

// flows reports whether the valve lets water through.
func (o *output) flows() bool { return o.stuckOn > 0 || o.energised() && o.stuckOff == 0 }

func (c *controller) onAir() bool { return c.down == 0 && c.away == 0 }

func (r *Room) makeControllers() {
	for i := range r.plan.Controllers {
		p := &r.plan.Controllers[i]
		c := &controller{id: p.ID, rnd: newStream(r.o.Seed, "controller "+p.ID), base: r.o.Uptime.Milliseconds()}
		c.ppm = r.o.CrystalPPM * (2*c.rnd.unit() - 1)
		if r.o.NoCutOff {
			c.noCutOff = 1
		}
		c.newBoot()
		r.controllers = append(r.controllers, c)
	}
	for i := range r.plan.Valves {
		r.addOutput(r.plan.Valves[i].Output, r.plan.Valves[i].ID)
	}
	for i := range r.plan.Supplies {
		if m := r.plan.Supplies[i].Master; m != nil {
			r.addOutput(m.Output, r.plan.Supplies[i].ID+"-master")
		}
	}
	if r.plan.Healthy != nil {
		if o := r.addOutput(*r.plan.Healthy, "healthy"); o != nil {
			o.dry = true
		}
	}
	for _, c := range r.controllers {
		sort.Slice(c.outs, func(i, j int) bool { return c.outs[i].at.Number < c.outs[j].at.Number })
	}
	r.makeInputs()
}

// addOutput gives the new output; nil = its controller is not in the plan.
func (r *Room) addOutput(at zones.Output, valve string) *output {
	c := r.controller(at.Controller)
	if c == nil {
		return nil
	}
	o := &output{at: at, valve: valve, drop: Never, meter: r.o.MeterAll}
	for _, m := range r.o.Meters {
		o.meter = o.meter || m == at
	}
	c.outs = append(c.outs, o)
	return o
}

func (r *Room) controller(id string) *controller {
	for _, c := range r.controllers {
		if c.id == id {
			return c
		}
	}
	return nil
}

func (r *Room) output(at zones.Output) *output {
	if c := r.controller(at.Controller); c != nil {
		return c.output(at.Number)
	}
	return nil
}

func (c *controller) output(number int) *output {
	for _, o := range c.outs {
		if o.at.Number == number {
			return o
		}
	}
	return nil
}

// newBoot draws the next boot id: a counter and 16 random bits, so that none comes twice.
func (c *controller) newBoot() {
	c.boots++
	c.boot = fmt.Sprintf("%04x%04x", c.boots&0xffff, c.rnd.next()&0xffff)
	c.epoch, c.seq = 0, 0
}

// uptime gives the controller's own milliseconds since its boot.
func (c *controller) uptime(now time.Duration) int64 {
	ns := float64(now-c.since) * (1 + c.ppm*1e-6)
	return c.base + int64(ns/1e6)
}

// instant gives the first moment at which uptime is at least ms.
func (c *controller) instant(ms int64) time.Duration {
	t := c.since + time.Duration(float64(ms-c.base)*1e6/(1+c.ppm*1e-6))
	for c.uptime(t) < ms {
		t += 10 * time.Microsecond
	}
	return t
}

// due gives the next instant at which the controller does something by itself.
func (c *controller) due() time.Duration {
	if c.down > 0 {
		return Never
	}
	t := min(c.nextReport, c.nextInputs)
	for _, o := range c.outs {
		t = min(t, o.drop)
	}
	for _, l := range c.lines {
		t = min(t, l.next)
	}
	return t
}

// work does what is due now: deadlines first.
func (r *Room) work(c *controller) {
	if c.down > 0 {
		return
	}
	dropped := false
	for _, o := range c.outs {
		if o.drop <= r.now {
			r.drive(o, func() { o.close() })
			dropped = true
		}
	}
	if dropped || c.nextReport <= r.now {
		r.report(c)
	}
	if c.nextInputs <= r.now {
		r.sendInputs(c)
	}
	for _, l := range c.lines {
		if l.next <= r.now {
			r.poll(c, l)
		}
	}
}

// close lets go; the run that was open never opens again.
func (o *output) close() {
	o.on, o.closed, o.until, o.drop = false, true, 0, Never
}

// drive makes a change that may open or close an output or its valve: the water is
// settled before, and the times are written down after.
func (r *Room) drive(o *output, change func()) {
	r.settle()
	energised, flows := o.energised(), o.flows()
	change()
	o.driven = r.note(o.driven, energised, o.energised())
	o.opened = r.note(o.opened, flows, o.flows())
}

func (r *Room) note(in []Interval, was, is bool) []Interval {
	switch {
	case is && !was:
		return append(in, Interval{r.now, Never})
	case was && !is:
		in[len(in)-1].To = r.now
	}
	return in
}

// report sends the state of all outputs.
func (r *Room) report(c *controller) {
	r.soonKnown = false
	c.nextReport = r.now + r.o.IdleReports
	for _, o := range c.outs {
		if o.energised() && !o.dry {
			c.nextReport = r.now + r.o.ReportPeriod
		}
	}
	if !c.onAir() || c.mute > 0 {
		return
	}
	rep := r.made.report(len(c.outs))
	rep.Controller, rep.Boot, rep.Epoch, rep.Seq = c.id, c.boot, c.epoch, c.seq
	rep.Uptime = time.Duration(c.uptime(r.now)) * time.Millisecond
	for i, o := range c.outs {
		on := o.energised()
		rep.Outputs[i] = zones.OutputReport{Number: o.at.Number, Open: on, FlowLPM: -1}
		if on {
			rep.Outputs[i].Run = o.run
		}
		if o.meter {
			rep.Outputs[i].FlowLPM = r.flowLPM(o)
		}
	}
	r.send(c, rep)
}

// flowLPM gives what a meter on an output shows, L/min: of a valve its own water, of
// a master that of its supply.
func (r *Room) flowLPM(o *output) float64 {
	var sum float64
	for _, z := range r.zones {
		for i := range z.feeds {
			f := &z.feeds[i]
			if f.out == o || f.supply != nil && f.supply.master == o {
				sum += z.flowLPM(i)
			}
			if a := f.from; a != nil && a.passes() && (a.out == o || a.supply != nil && a.supply.master == o) {
				sum += f.share * z.drawLPM(i)
			}
		}
	}
	return sum
}
