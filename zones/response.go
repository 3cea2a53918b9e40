package zones

import "time"

const (
	judgeAfter  = 15 * time.Minute
	feltWorth   = Level(2500) // points that shots must be worth before they are judged
	feltShots   = 2
	feltPart    = 4 // the rise must be at least a quarter of what was given
	fieldMargin = 2 * schedulePoint
)

// nearField reports whether the zone is so near its field level that a shot drains
// instead of showing.
func (r *Room) nearField(z *zone) bool {
	w := z.window()
	if w == nil || !z.est.known {
		return false
	}
	field := z.taught.Field
	switch {
	case field > 0: // what it has shown itself
	case w.DryBack > 0:
		field = z.mem.DayHigh
	default:
		field = w.StopAt
	}
	return field > 0 && z.est.value >= field-fieldMargin
}

// countShot adds a completed moisture shot to those that should be felt. The shot
// that makes them enough sets the time of the one judgement.
func (r *Room) countShot(z *zone, run *run) {
	worth := z.cfg.Points(run.length)
	m := &z.mem.Response
	if run.nearField || !run.knew || worth <= 0 || m.JudgeAt != 0 {
		return // a shot after those that made it so cannot be felt yet
	}
	if m.Shots == 0 {
		m.Worth, m.Rose = 0, 0
	} else {
		m.Rose += max(run.highBefore-m.Base, 0) // what the shots before raised; it may have dried since
	}
	m.Base, m.High = run.before, run.before
	if z.est.known {
		m.High = max(m.High, z.est.value)
	}
	m.Shots++
	m.Worth += worth
	if m.JudgeAt == 0 && m.Shots >= feltShots && m.Worth >= feltWorth {
		m.JudgeAt = r.t + judgeAfter
	}
	z.urgent = true
}

// judgeResponse latches a zone whose moisture did not rise by a quarter of what it
// was given. It is judged once; without an estimate, at the next one.
func (r *Room) judgeResponse(z *zone) {
	m := &z.mem.Response
	if m.JudgeAt == 0 {
		return
	}
	if r.t < m.JudgeAt {
		r.at(m.JudgeAt)
		return
	}
	if !z.est.known {
		return
	}
	rise, worth, shots := m.Rose+m.High-m.Base, m.Worth, m.Shots
	*m = ResponseMemory{}
	z.urgent = true
	if rise >= worth/feltPart {
		return
	}
	because := sprintf("%d shots worth %s points raised the moisture by %s", shots, points(worth), points(max(rise, 0)))
	r.latchZone(z, NoResponse, because)
}

// leaks finds flow with everything closed, and zones that rise without a run.
func (r *Room) leaks() {
	r.leakByFlow()
	for _, z := range r.zones {
		r.leakByRise(z)
	}
}

const (
	leakFlowAfter = 10 * time.Second
	leakRise      = 5 * schedulePoint
	leakQuiet     = 30 * time.Minute
)

func (r *Room) leakByFlow() {
	var flow *output
	for _, o := range r.outputs {
		if o.wanted || !o.confirmed && o.maybeOpen(r.t) {
			r.leakSince = forever
			return
		}
		if o.shown && o.flowing() && o.ctl.online {
			flow = o
		}
	}
	if flow == nil {
		r.leakSince = forever
		return
	}
	if r.leakSince == forever {
		r.leakSince = r.t
	}
	if r.t < r.leakSince+leakFlowAfter {
		r.at(r.leakSince + leakFlowAfter)
		return
	}
	r.latchRoom(LeakFound, sprintf("%.1f L/min flow at %s with all valves closed", flow.flow, flow.valve))
}

// leakByRise latches a zone most of whose probes rose by 5 points in 10 min, more
// than 30 min after any run of it.
func (r *Room) leakByRise(z *zone) {
	if z.run != nil || (z.ran() && r.t <= z.quietFrom()) || z.latch(LeakFound) != nil {
		return
	}
	if n, of := z.rising(r.t); of > 0 && 2*n > of {
		r.latchZone(z, LeakFound, sprintf("%d of %d probes rose by 5 points or more within 10 min, with no run for 30 min", n, of))
	}
}

// quietFrom gives the age from which a rise of the zone is no run's doing.
func (z *zone) quietFrom() time.Duration {
	if !z.ran() {
		return 0
	}
	return z.rested() + leakQuiet
}

// rising counts the counting probes that rose by 5 points within 10 min.
func (z *zone) rising(t time.Duration) (n, of int) {
	for _, p := range z.probes {
		if !p.counts(t) {
			continue
		}
		of++
		if p.rose >= leakRise {
			n++
		}
	}
	return n, of
}

// latchRoom sets a latch of the room, once.
func (r *Room) latchRoom(code Reason, because string) {
	if hasLatch(r.mem.Latches, code) != nil {
		return
	}
	r.record(&Record{Kind: RecLatch, Latch: &LatchRecord{Code: code, Because: because}})
	r.entry(&Entry{Kind: "latched", Reason: code, Because: because})
	r.dirty = true
}

// latchZone sets a latch on every output of a zone, once.
func (r *Room) latchZone(z *zone, code Reason, because string) {
	if z.latch(code) != nil {
		return
	}
	r.record(&Record{Kind: RecLatch, Latch: &LatchRecord{Code: code, Outputs: ids(z.outs), Because: because}})
	r.entry(&Entry{Kind: "latched", Zone: z.id, Reason: code, Because: because})
	r.dirty = true
}
