package simroom

import (
	"strings"
	"time"

	"rillgate/zones"
)

func (r *Room) probe(id string) *probe {
	for _, p := range r.probes {
		if p.plan.ID == id {
			return p
		}
	}
	return nil
}

func (r *Room) probeEffect(f Fault) func(bool) {
	p := r.probe(f.Subject)
	if p == nil {
		return nil
	}
	switch f.Kind {
	case ProbeLost:
		return func(on bool) { count(&p.lost, on) }
	case ProbeInAir:
		return func(on bool) { p.inAir(f.Value, on) }
	case ProbeDrifts:
		return func(on bool) { p.drift, p.driftFrom = whenOn(on, f.Value), r.now }
	case ProbeStuck:
		return func(on bool) { count(&p.stuck, on); p.freeze(r, f.Value, on) }
	case ProbeReplays, ProbeRestamps:
		return func(on bool) {
			count(&p.replay, on)
			p.restamp, p.replayAt = f.Kind == ProbeRestamps, 0
			p.old = p.past.last(int(whenZero(f.Value, 60)))
		}
	}
	q := r.probe(f.Other)
	if q == nil {
		return nil
	}
	return func(on bool) {
		p.other = nil
		if on {
			p.other = q
		}
		if f.Kind == ProbesSwapped {
			q.other = nil
			if on {
				q.other = p
			}
		}
	}
}

func whenOn(on bool, x float64) float64 {
	if on {
		return x
	}
	return 0
}

func whenZero(x, def float64) float64 {
	if x == 0 {
		return def
	}
	return x
}

// inAir adds what an exposed probe shows, or takes the oldest away.
func (p *probe) inAir(percent float64, on bool) {
	if on {
		p.airs = append(p.airs, whenZero(percent, 2))
	} else {
		p.airs = p.airs[1:]
	}
}

// freeze sets the level that a stuck probe keeps.
func (p *probe) freeze(r *Room, percent float64, on bool) {
	if !on {
		return
	}
	if last := p.past.last(1); len(last) > 0 {
		p.stuckAt = last[0]
	} else {
		p.stuckAt = r.measure(p)
	}
	if percent > 0 {
		p.stuckAt.level = r.quantised(percent)
	}
}

func (r *Room) valveOutput(id string) *output {
	for _, c := range r.controllers {
		for _, o := range c.outs {
			if o.valve == id {
				return o
			}
		}
	}
	return nil
}

func (r *Room) valveEffect(f Fault) func(bool) {
	o := r.valveOutput(f.Subject)
	if o == nil {
		return nil
	}
	counter := map[FaultKind]*int{
		ValveStuckOpen: &o.stuckOn, ValveStuckClosed: &o.stuckOff, OutputWelded: &o.welded, OutputDead: &o.dead,
	}[f.Kind]
	c := r.controller(o.at.Controller)
	return func(on bool) {
		was := o.energised()
		r.drive(o, func() { count(counter, on) })
		if was != o.energised() && c.down == 0 {
			r.report(c) // at once on any change
		}
	}
}

// hoseEffect exchanges what two valves water, which undoes itself; or hangs a valve on
// another's output, or joins a bed to another's valve as well.
func (r *Room) hoseEffect(f Fault) func(bool) {
	a, b := r.feed(f.Subject), r.feed(f.Other)
	if a == nil || b == nil {
		return nil
	}
	own := a.out
	switch f.Kind {
	case OneOutput:
		return func(on bool) {
			if a.out = own; on {
				a.out = b.out
			}
		}
	case CrossFlow:
		return func(on bool) {
			if b.from, b.share = nil, 0; on {
				b.from, b.share = a, min(max(f.Value, 0), 1)
			}
		}
	}
	return func(bool) { a.out, b.out, a.supply, b.supply = b.out, a.out, b.supply, a.supply }
}

func (r *Room) feed(valve string) *feed {
	for _, z := range r.zones {
		for i := range z.feeds {
			if z.feeds[i].id == valve {
				return &z.feeds[i]
			}
		}
	}
	return nil
}

func (r *Room) waterEffect(f Fault) func(bool) {
	switch f.Kind {
	case SupplyDry, TankLow:
		s := r.supply(f.Subject)
		if s == nil {
			return nil
		}
		return func(on bool) {
			if f.Kind == TankLow {
				count(&s.low, on)
			} else {
				count(&s.dry, on)
			}
		}
	case EmittersBlocked:
		if p := r.probe(f.Subject); p != nil {
			return func(on bool) { block(&p.home.buckets[p.bucket].passes, f.Value, on) }
		}
	}
	for _, z := range r.zones {
		if z.plan.ID != f.Subject {
			continue
		}
		if f.Kind == EmittersBlocked {
			return func(on bool) { block(&z.passes, f.Value, on) }
		}
		return func(on bool) { z.leak = leakOf(z.leak, f.Value/3600, on) }
	}
	return nil
}

// block sets what still passes; a fault that ends sets everything free.
func block(passes *float64, value float64, on bool) {
	*passes = 1
	if on {
		*passes = min(max(value, 0), 1)
	}
}

func leakOf(now, more float64, on bool) float64 {
	if on {
		return now + more
	}
	return max(0, now-more)
}

func (r *Room) inputEffect(f Fault) func(bool) {
	at, id, found := strings.Cut(f.Subject, "/")
	if !found {
		at, id = "", f.Subject
	}
	for _, c := range r.controllers {
		for _, in := range c.inputs {
			if in.plan.ID != id || at != "" && at != c.id {
				continue
			}
			if f.Kind == InputSilent {
				return func(on bool) { count(&in.silent, on) }
			}
			return func(on bool) { count(&in.forced, on) }
		}
	}
	return nil
}

func (r *Room) controllerEffect(f Fault) func(bool) {
	c := r.controller(f.Subject)
	if c == nil {
		return nil
	}
	switch f.Kind {
	case Reboot:
		return func(on bool) { r.reboot(c, on) }
	case Offline:
		return func(on bool) { r.cutOff(c, on) }
	case ReportsLost:
		return func(on bool) { count(&c.mute, on) }
	case ClockRunsOff:
		return func(on bool) {
			if !on {
				f.Value = -f.Value
			}
			r.rebase(c, c.uptime(r.now), c.ppm+f.Value)
		}
	}
	return func(on bool) {
		count(&c.noCutOff, on)
		r.rebase(c, c.uptime(r.now), c.ppm)
	}
}

// rebase sets a controller's clock, and when its outputs drop by it.
func (r *Room) rebase(c *controller, uptime int64, ppm float64) {
	c.since, c.base, c.ppm = r.now, uptime, ppm
	for _, o := range c.outs {
		if o.on {
			o.drop = r.dropAt(c, o)
		}
	}
}

// reboot takes the power from a controller: all outputs drop and it forgets all, the
// last runs too. When it comes back it is another boot.
func (r *Room) reboot(c *controller, begins bool) {
	if begins {
		r.offAir(c, &c.down)
		for _, o := range c.outs {
			r.drive(o, func() { *o = o.bare() })
		}
		return
	}
	c.down--
	if c.down > 0 {
		return
	}
	c.newBoot()
	r.rebase(c, 0, c.ppm)
	for _, l := range c.lines {
		l.base = after(r.now, l.base, r.o.ReadingPeriod)
		l.next = l.base
	}
	c.nextReport, c.nextInputs = r.now, r.now
	r.announce(c)
}

// bare is the output as it is after power came back.
func (o *output) bare() output {
	b := *o
	b.on, b.run, b.closed, b.until, b.drop = false, "", false, 0, Never
	return b
}

// cutOff takes a controller off the broker. Its grants run on, and out.
func (r *Room) cutOff(c *controller, begins bool) {
	if begins {
		r.offAir(c, &c.away)
		return
	}
	c.away--
	if c.onAir() {
		r.announce(c)
	}
}

// offAir lets the broker give the controller's last word, its will, if it still was
// on the air.
func (r *Room) offAir(c *controller, cause *int) {
	r.send(c, &zones.Status{Controller: c.id})
	*cause++
}

// after gives the next whole period after now.
func after(now, base, period time.Duration) time.Duration {
	for base < now {
		base += period
	}
	return base
}
