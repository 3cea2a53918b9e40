package zones

import "time"

// settleRuns gives back what a closed run did not use, once a report shows it
// closed, or when its last grant has run out.
func (r *Room) settleRuns() {
	n := 0
	for _, run := range r.settling {
		at, sure, ok := r.settledAt(run)
		if !ok {
			r.settling[n] = run
			n++
			continue
		}
		r.settle(run, at, sure)
	}
	r.settling = r.settling[:n]
}

// settledAt gives the age at which the run's last output was closed: when it was told
// to, if that was confirmed soon, and the age at which that was sure. Water may have
// run until then.
func (r *Room) settledAt(run *run) (at, sure time.Duration, ok bool) {
	at, sure = run.closedAt, run.closedAt
	if !run.valvesOn {
		return at, sure, true
	}
	for _, o := range run.outs {
		over := o.deadline + settleGrace // by then its grant has run out
		switch {
		case o.run != run.id: // given to another run meanwhile: it was closed before
		case o.confirmed && o.openSeen >= over: // it was open past all its grants
			at, sure = max(at, o.sureAt), max(sure, o.sureAt)
		case o.confirmed:
			sure = max(sure, min(o.sureAt, over))
			if o.sureAt > run.closedAt+confirmWithin {
				at = max(at, min(o.sureAt, over))
			}
		case r.t >= over && o.shown && o.open && (o.openSeen >= over || o.ctl.online):
			return 0, 0, false // still open by its own word, or the next report will tell
		case r.t >= over:
			at = max(at, over)
		default:
			r.at(over)
			return 0, 0, false
		}
	}
	return at, max(at, sure), true
}

func (r *Room) settle(run *run, at, sure time.Duration) {
	z := run.zone
	amount := time.Duration(0)
	if run.valvesOn {
		amount = sure - run.openAt
		if !run.overran() {
			amount = min(amount, run.length)
		}
		if run.keepCharge {
			amount = max(amount, run.length)
		}
	}
	p := z.mem.Progress
	if !run.valvesOn && run.window != "" && p.Instance == run.window && p.Shots > 0 {
		p.Shots-- // it never opened
	}
	litres := run.litres(amount)
	if l, ok := run.metered(); ok {
		litres = l
	}
	r.record(&Record{Kind: RecSettle, Run: &RunRecord{ID: run.id, Zone: z.id, Outputs: ids(run.outs), Reason: run.closedWhy,
		Opened: run.reason, Progress: p, Amount: amount, Litres: litres, End: at}})
	r.dirty = true
}

// overran reports whether a valve was seen open past all its grants: then more counts
// than the run was long.
func (run *run) overran() bool {
	for _, o := range run.outs {
		if o.run == run.id && o.openSeen >= o.deadline+settleGrace {
			return true
		}
	}
	return false
}

// metered gives the litres that meters counted, when every valve has one.
func (run *run) metered() (litres float64, ok bool) {
	for _, o := range run.outs {
		if o.flow < 0 || !run.valvesOn {
			return 0, false
		}
		litres += o.metered
	}
	return litres, true
}
