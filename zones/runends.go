package zones

import "time"

// limit gives the age at which a valve of the run, or the master that it holds, has come to
// the end of its grants by its controller's own time: a first grant reckoned from a late report ends earlier than
// our books have it. It is forever where it makes less than endSlack of difference.
func (r *Room) limit(run *run) time.Duration {
	t := forever
	for _, o := range run.outs {
		t = min(t, r.limitOf(o, run, run.span))
	}
	if run.masterOn && run.phase == opened {
		t = min(t, r.limitOf(run.supply.master, run, run.span+run.lead))
	}
	if t+endSlack >= run.end {
		return forever
	}
	return t
}

func (r *Room) limitOf(o *output, run *run, span time.Duration) time.Duration {
	if !o.wanted || o.run != run.id || o.untilBoot != o.ctl.boot {
		return forever
	}
	return r.t + o.firstUp + span - o.ctl.uptimeAt(r.t)
}

// furtherGrant reports whether a renewal would still lengthen anything.
func (r *Room) furtherGrant(run *run) bool {
	for _, o := range run.outs {
		// A grant reckoned from a late report ends earlier than our books have it.
		if o.wanted && (o.deadline < run.end || o.until+endSlack < o.firstUp+run.span) {
			return true
		}
	}
	return run.phase == leading || run.masterOn && (run.supply.master.deadline < run.end || r.short(run.supply.master, run, run.span+run.lead))
}

// short reports whether an output's grant was reckoned from a report that came late: by
// its controller's time it ends earlier than in our books, and can reach further.
func (r *Room) short(o *output, run *run, span time.Duration) bool {
	if !o.wanted || o.run != run.id || o.untilBoot != o.ctl.boot || o.until+endSlack >= o.firstUp+span {
		return false
	}
	return o.until-o.ctl.uptimeAt(r.t)+endSlack < o.deadline-r.t
}

// lapsed reports whether a grant ran out before it was renewed: the gateway itself
// was held up. The controller has closed by then; the run ends and is not caught up.
func (r *Room) lapsed(run *run) (string, bool) {
	if run.cut {
		return "", false // what happens then is what it is for; its end comes soon after
	}
	for _, o := range run.outs {
		if o.wanted && o.deadline < run.end && r.t > o.deadline {
			return sprintf("the grant of %s ran out %s ago, before it was renewed: the gateway was held up", o.valve, words(r.t-o.deadline)), true
		}
	}
	return "", false
}

// renewalDue reports whether the run's grants are to be renewed: a third of a lease after
// the last, or, where that had no fresh word to go by, or a late one, with the next.
func (r *Room) renewalDue(run *run) bool {
	if run.cut {
		return false
	}
	if r.t >= run.renewed+run.lease/3 {
		return true
	}
	for _, o := range run.outs {
		if run.behind && o.wanted && o.ctl.arrived == r.t || r.short(o, run, run.span) {
			return true
		}
	}
	if !run.masterOn {
		return false
	}
	m := run.supply.master
	return run.behind && m.ctl.arrived == r.t || r.short(m, run, run.span+run.lead)
}

// awaitRenewal lets the next renewal be looked at when it can be given: when it is due, where
// a word of a controller will be fresh still, else with its next word.
func (r *Room) awaitRenewal(run *run) {
	due, fresh := run.renewed+run.lease/3, false
	for _, o := range run.outs {
		if o.wanted && r.awaitWord(o, due) {
			fresh = true
		}
	}
	if run.masterOn && r.awaitWord(run.supply.master, due) || fresh {
		r.at(due)
	}
}

// awaitWord reports whether the last word of an output's controller will be fresh at an age.
// If not, the first that will be leads to a look, and so does the end of the grant.
func (r *Room) awaitWord(o *output, due time.Duration) bool {
	if due <= o.ctl.arrived+freshWord {
		return true
	}
	o.ctl.awaited = min(o.ctl.awaited, due-freshWord)
	r.at(o.deadline + 1)
	return false
}

// freshWord is how old a report may be for a renewal: what is left of 0.2 s within which
// a valve closes after its lease, when the link is cut behind that report.
const freshWord = 150 * time.Millisecond

// renew gives a run's grants again; one that had no fresh word to go by is soon tried anew.
func (r *Room) renew(run *run, grant func()) {
	run.renewed, run.retry, run.behind = r.t, run.behind, false
	grant()
	if run.behind {
		run.renewed = r.t - run.lease/3 + renewAgain
	}
}

// renewAgain is when a renewal that was not sent is tried again.
const renewAgain = time.Second

// endSlack is how much earlier than ours a controller may reckon the end of a run:
// what a report takes to arrive makes our picture of its uptime late.
const endSlack = time.Second

// ranOut reports whether the controller says that the run's last grant has run out.
func (r *Room) ranOut(run *run) bool {
	if run.cut {
		return r.dropped(run)
	}
	if r.t+endSlack < run.end || run.phase != opened {
		return false
	}
	for _, o := range run.outs {
		if o.wanted && (!o.shown || o.open || !o.sawOpen) {
			return false
		}
	}
	return true
}

// disobeys finds an output that was commanded open and does not show it.
func (r *Room) disobeys(run *run) (string, bool) {
	outs := run.outs
	if run.masterOn {
		outs = append([]*output{run.supply.master}, outs...)
	}
	for _, o := range outs {
		if !o.wanted {
			continue
		}
		if r.t+endSlack >= run.end && run.phase == opened || run.cut && r.t+endSlack >= o.deadline {
			return "", false // its own deadline may come a little before our end
		}
		if o.shown && !o.open && o.carries(o.openSeq, r.epoch) {
			return "valve " + o.valve + " is reported closed though it was told to open", true
		}
		if !o.sawOpen && r.t >= o.openAt+openShownIn {
			return "no report shows valve " + o.valve + " open within 10 s", true
		}
	}
	return "", false
}
