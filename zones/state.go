package zones

// tellState works out a zone's state and tells it when state or reason changed.
func (r *Room) tellState(z *zone) {
	state, reason, because := r.stateOf(z)
	if state == z.state && reason == z.told {
		z.because = because
		return
	}
	if reason != z.told && reason != NoReason && reason != WindowPassed && state != Watering {
		z.refusals[reason]++
		if reason != RestingStill {
			r.entry(&Entry{Kind: "refused", Zone: z.id, Reason: reason, Because: because})
		}
	}
	z.state, z.told, z.because = state, reason, because
	r.out = append(r.out, &State{Zone: z.id, State: state, Reason: reason, Because: because})
}

// stateOf gives the zone's state, its reason and the sentence for both.
func (r *Room) stateOf(z *zone) (ZoneState, Reason, string) {
	if run := z.run; run != nil && run.phase != recording {
		return Watering, run.reason, sprintf("%s, for %s", run.because, words(run.length))
	} else if run != nil {
		return z.state, z.told, z.because // its charge is on the way to the ledger
	}
	if z.reason == "" {
		z.reason = NoReason
	}
	switch z.reason {
	case NoReason:
		return r.quietState(z)
	case HeldByPerson:
		return Held, z.reason, z.because
	case StoppedByPerson:
		return Stopped, z.reason, z.because
	case SecondGateway, CrashLoop, LeakFound, ValveMismatch, NoResponse:
		return Latched, z.reason, z.because
	case RestingStill:
		return Resting, z.reason, z.because
	case WindowPassed:
		return Idle, z.reason, z.because
	}
	return Waiting, z.reason, z.because
}

// quietState is that of a zone which nothing refuses and nobody waters.
func (r *Room) quietState(z *zone) (ZoneState, Reason, string) {
	w := z.window()
	if w == nil {
		if z.sit.Fallow || !z.hasWindows() {
			return Fallow, NoReason, "no water is due: the schedule gives this zone none"
		}
		return Idle, NoReason, "no window is open"
	}
	return Watching, NoReason, z.watchWords(w)
}
