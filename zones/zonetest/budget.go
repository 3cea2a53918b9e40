package zonetest

import (
	"time"

	"rillgate/zones"
)

// startRun checks the first opening of a run: INV-5, 9, 15, 16.
func (c *Checker) startRun(r *run) {
	z, p := c.zone(r.zone), c.zonePlan(r.zone)
	if p == nil {
		c.breach(17, "run %s of zone %q, which the plan does not have", r.id, r.zone)
		return
	}
	_, most := limits(p, r.reason)
	most = max(most, r.perDay) // a plan may come in the master's lead
	z.most(r.reason, most)
	for _, at := range r.outputs {
		if o := c.out(at); r.reason == zones.Soak {
			o.soakPerDay = max(o.soakPerDay, most)
		} else {
			o.perDay = max(o.perDay, most)
		}
		if used := c.used(c.out(at), r.reason == zones.Soak); used+r.length > most+c.timers(c.out(at)) {
			c.breach(5, "run %s of %s (%s) on %s, where %s of the last 24 h is used, max_per_day %s", r.id, r.length, r.reason, at, used, most)
		}
		if used := c.used(c.out(at), true) + c.used(c.out(at), false); used+r.length > zones.MaxPerDayCeiling+c.timers(c.out(at)) {
			c.breach(18, "run %s of %s on %s, where %s of the last 24 h is used", r.id, r.length, at, used)
		}
	}
	rest := max(p.Limits.MinRest, c.windowRest(p, r), zones.MinRestFloor)
	if z.ran && c.now.Mono-z.closed < rest {
		c.breach(9, "run %s begins %s after zone %s closed, rest %s", r.id, c.now.Mono-z.closed, r.zone, rest)
	}
	if scheduled(r.reason) {
		c.instance(r, z, p)
	}
}

// scheduled reports whether a window of the schedule asked for the run.
func scheduled(why zones.Reason) bool {
	switch why {
	case zones.BelowThreshold, zones.DriedBack, zones.ToLevel, zones.TimedShot, zones.LostProbesTimed:
		return true
	}
	return false
}

// instance is INV-15 and INV-16.
func (c *Checker) instance(r *run, z *zone, p *zones.Zone) {
	if !c.now.Trusted {
		c.breach(15, "run %s (%s) begins while the clock is not trusted", r.id, r.reason)
	}
	if r.instance == "" || r.reason == zones.LostProbesTimed {
		return
	}
	key := r.instance + " shot " + itoa(r.shot)
	if z.given[key] {
		c.breach(16, "zone %s: %s begins twice", r.zone, key)
	}
	z.given[key] = true
	z.shots[r.instance]++
	if w := window(p, r.instance); w != nil && w.MaxShots > 0 && z.shots[r.instance] > w.MaxShots {
		c.breach(16, "zone %s: shot %d of %s, max_shots %d", r.zone, z.shots[r.instance], r.instance, w.MaxShots)
	}
}

// used sums the contact's time of the last 24 h, of soaks or of all else.
func (c *Checker) used(o *output, soaks bool) time.Duration {
	from := c.now.Mono - day
	var sum time.Duration
	for _, v := range o.intervals {
		if v.to > from && c.isSoak(v.run) == soaks {
			sum += v.to - max(v.from, from)
		}
	}
	if o.open && c.isSoak(o.openRun) == soaks {
		sum += c.now.Mono - max(o.openSince, from)
	}
	return sum
}

// timers is what controllers may be late by in a day: up to 100 ms at the end of each
// run that they end by themselves.
func (c *Checker) timers(o *output) time.Duration {
	late := slack
	for _, v := range o.intervals {
		if v.to > c.now.Mono-day {
			late += timerLate + (v.to-v.from)/200 // its clock may run off until that shows
		}
	}
	return late
}

// afterRun checks a contact that went off: INV-1, 4, 5, 18.
func (c *Checker) afterRun(at zones.Output, o *output, length time.Duration) {
	v := c.valve(at)
	if v == nil {
		return // a master stays on from run to run
	}
	c.bookRun(at, o, length)
	shots, soaks := c.used(o, false), c.used(o, true)
	if used := shots + soaks; used > zones.MaxPerDayCeiling+c.timers(o) {
		c.breach(18, "%s was open %s in 24 h", at, used)
	}
	z := c.zoneOf(v.ID)
	if z == nil {
		return
	}
	books := c.zone(z.ID)
	books.closed, books.ran = c.now.Mono, true
	if !o.commanded && c.now.Mono-o.toldAt <= confirmTime {
		books.closed = o.toldAt
	}
	if limit := max(books.maxPerDay, o.perDay, z.Limits.MaxPerDay); shots > limit+c.timers(o) {
		c.breach(5, "%s was open %s in 24 h, max_per_day %s", at, shots, limit)
	}
	if soaks > o.soakPerDay+c.timers(o) {
		c.breach(5, "%s was open %s in 24 h by soaks, they may have %s", at, soaks, o.soakPerDay)
	}
	for len(o.intervals) > 0 && o.intervals[0].to < c.now.Mono-2*day {
		o.intervals = o.intervals[1:]
	}
}

// bookRun puts the contact's time on its run.
func (c *Checker) bookRun(at zones.Output, o *output, length time.Duration) {
	r := c.runs[o.openRun]
	if r == nil {
		return
	}
	r.physical[at] += length
	if r.physical[at] > r.bound*201/200+slack { // its clock may run off until that shows
		c.breach(1, "%s was open %s in run %s of %s", at, r.physical[at], r.id, r.bound)
	}
	if r.physical[at] > r.charge*201/200+slack {
		c.breach(4, "%s was open %s in run %s, charged %s", at, r.physical[at], r.id, r.charge)
	}
}

// intent books a run before it opens: INV-1 and INV-18.
func (c *Checker) intent(rec *zones.Record) {
	p := rec.Run
	r := &run{
		id: p.ID, zone: p.Zone, outputs: append([]zones.Output(nil), p.Outputs...),
		length: p.Length, bound: p.Length, charge: p.Length, reason: p.Reason,
		instance: p.Progress.Instance, shot: p.Progress.Shots, seq: rec.Seq, process: c.process.number,
		base: map[zones.Output]time.Duration{}, physical: map[zones.Output]time.Duration{},
	}
	if old := c.runs[r.id]; old != nil && old.started {
		c.breach(29, "a second intent for run %s", r.id)
	}
	c.runs[r.id], c.active[r.id] = r, r
	if r.length > zones.MaxRunCeiling || r.length <= 0 {
		c.breach(18, "run %s of %s", r.id, r.length)
	}
	if z := c.zonePlan(r.zone); z != nil {
		var most time.Duration
		if most, r.perDay = limits(z, r.reason); r.length > most {
			c.breach(1, "run %s of %s (%s), max_run of %s is %s", r.id, r.length, r.reason, r.zone, most)
		}
	}
}

// settle is INV-4: what comes back was not used, and the valve is known closed.
func (c *Checker) settle(p *zones.RunRecord) {
	r := c.runs[p.ID]
	if r == nil {
		return
	}
	if p.Amount > r.charge && !c.heldOn(r) {
		c.breach(4, "run %s is charged %s after %s", r.id, p.Amount, r.charge)
	}
	for _, at := range r.outputs {
		o := c.out(at)
		spent := r.physical[at]
		if o.open && o.openRun == r.id {
			spent += c.now.Mono - o.openSince
		}
		if spent > p.Amount*201/200+slack { // its clock may run off until that shows
			c.breach(4, "run %s gives back all but %s, %s was open %s", r.id, p.Amount, at, spent)
		}
		// The room waits 2 s past the last grant, which may be 1 s shorter than the one before.
		if p.Amount < r.length && r.started && o.openRun == r.id && o.granted && !o.ackClosed && c.now.Mono < o.deadline+time.Second {
			c.breach(4, "run %s gives back before %s is known closed", r.id, at)
		}
	}
	r.charge = p.Amount
}

// heldOn reports whether a valve of the run was reported open past all its grants: then
// more counts than was charged.
func (c *Checker) heldOn(r *run) bool {
	for _, at := range r.outputs {
		if o := c.out(at); o.openRun == r.id && o.heldOn {
			return true
		}
	}
	return false
}
