package zones

import "time"

// tellState works out a zone's state and tells it when state or reason changed.
func (r *Room) tellState(z *zone) {
	state, reason := r.stateOf(z)
	if state == z.state && reason == z.told {
		return
	}
	z.state, z.told = state, reason
	because := r.because(z)
	r.countRefusal(z, because)
	r.out = append(r.out, &State{Zone: z.id, State: state, Reason: reason, Because: because})
}

const refusalLasts = time.Hour

// countRefusal counts a refusal once, and tells the journal of it, until water comes,
// another reason does, or an hour has passed: a trigger that wavers at its edge is no
// news.
func (r *Room) countRefusal(z *zone, because string) {
	switch {
	case z.state == Watering:
		z.refusedBy = ""
		return
	case z.told == NoReason || z.told == WindowPassed || z.told == Soak:
		return
	case z.told == z.refusedBy && r.t < z.refusedAt+refusalLasts:
		return
	}
	z.refusedBy, z.refusedAt = z.told, r.t
	z.refusals[z.told]++
	if z.told != RestingStill {
		r.entry(&Entry{Kind: "refused", Zone: z.id, Reason: z.told, Because: because})
	}
}

// stateOf gives the zone's state and its reason.
func (r *Room) stateOf(z *zone) (ZoneState, Reason) {
	if run := z.run; run != nil && run.phase != recording {
		return Watering, run.reason
	} else if run != nil {
		return z.state, z.told // its charge is on the way to the ledger
	}
	switch z.reason {
	case NoReason, "":
		return z.quietState(), NoReason
	case HeldByPerson:
		return Held, z.reason
	case StoppedByPerson, LeakFound:
		if hasLatch(r.mem.Latches, z.reason) == nil && z.latch(z.reason) == nil {
			return Waiting, z.reason // an input that is silent forbids without a latch
		}
		if z.reason == StoppedByPerson {
			return Stopped, z.reason
		}
		return Latched, z.reason
	case SecondGateway, CrashLoop, ValveMismatch, NoResponse:
		return Latched, z.reason
	case RestingStill, Soak:
		return Resting, z.reason
	case WindowPassed:
		return Idle, z.reason
	}
	return Waiting, z.reason
}

// quietState is that of a zone which nothing refuses and nobody waters.
func (z *zone) quietState() ZoneState {
	switch {
	case z.window() != nil:
		return Watching
	case z.sit.Fallow || !z.hasWindows():
		return Fallow
	}
	return Idle
}

// because gives the sentence for the state that was told, with the numbers of now.
func (r *Room) because(z *zone) string {
	if run := z.run; run != nil {
		return sprintf("%s, for %s", run.because, words(run.length))
	}
	switch z.told {
	case NoReason:
		w := z.window()
		switch {
		case w != nil && r.t < r.walkTo:
			return z.watchWords(w) + "; the room is being walked, and windows wait until that ends"
		case w != nil:
			return z.watchWords(w)
		case z.state == Fallow:
			return "no water is due: the schedule gives this zone none"
		}
		return "no window is open"
	case Soak:
		if z.soak != nil {
			return sprintf("soak: %s; the next at %s", z.soak.words(), r.clockWords(z.restUntil(z.ask.rest)))
		}
	case WindowPassed:
		return "its window shut while it waited for the supply"
	}
	if l := interlockOf(z.told); l != nil {
		return and(l.words(r, z, &z.ask), r.dryingIf(z, z.told != RestingStill && z.told != SupplyBusy && z.told != ShotsSpent))
	}
	return ""
}
