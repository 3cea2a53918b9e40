package zones

import (
	"math"
	"strconv"
	"time"

	"rillgate/schedule"
)

// Bounds of a soak that no file names (chosen here).
const (
	soakCeiling  = 24 * time.Hour   // from the order to its end
	soakLate     = 2 * time.Hour    // that it may wait for the supply in all
	soakPace     = 30 * time.Minute // one that is given a time waters in each of these at least
	soakShortest = 10 * time.Second // by runs not shorter than this
)

// SoakEnd is the Subject of an order that ends a soak.
const SoakEnd = "end"

// SoakLimits bind a soak beside the ceilings; the limits of shots stay apart from them.
type SoakLimits struct {
	MaxRun      time.Duration
	MaxPerDay   time.Duration // of soaks, in any 24 h of age
	MaxMoisture Level         // it ends there
}

// soak is a volume that a person lets a zone have, in runs with rests. It lives in this
// process alone: no soak survives a restart.
type soak struct {
	order   string
	ml, lph float64       // mL a plant in all; L/h a plant
	runs    int           // in all
	begun   int           // of them
	length  time.Duration // of each
	rest    time.Duration // between two
	given   time.Duration // valve time so far
	until   time.Duration // age from which no further run begins
	sighted bool          // the zone's moisture was known since it began
}

// orderSoak begins a soak, if its limits and every interlock but rest and supply let it:
// for those it waits.
func (r *Room) orderSoak(e *Order) {
	z := r.orderZone(e)
	switch {
	case z == nil:
		return
	case e.Subject == SoakEnd:
		r.orderSoakEnd(z, e)
		return
	case r.taken(e, z):
		return
	}
	s, why := z.planSoak(e)
	if why != "" {
		r.answer(e, false, NoReason, why)
		return
	}
	r.lookAtLinks()
	r.see(z)
	z.soak = s // its own limits hold from here on
	if l, a := r.soakRefusedBy(z); l != nil {
		because := l.words(r, z, a)
		z.soak = nil
		r.answer(e, false, l.code, because)
		return
	}
	s.until = r.t + min(s.planned(z)+soakLate, soakCeiling)
	r.answer(e, true, Soak, s.promise(r, z))
}

// soakRefusedBy asks the interlocks that a soak does not wait for, and whether all of
// it fits the day.
func (r *Room) soakRefusedBy(z *zone) (*interlock, *ask) {
	a := z.soakAsk()
	if l, ok := r.permit(z, &a, restStep()); !ok {
		return l, &a
	}
	a.length = time.Duration(z.soak.runs) * z.soak.length
	if l := interlockOf(DailyLimit); l.holds(r, z, &a) {
		return l, &a
	}
	return nil, nil
}

// spares reports whether the interlock does not bind what a person asked for. A soak is
// much water: where none is felt, or nobody has seen that it goes where it should, it
// has to wait for that.
func (l *interlock) spares(a *ask) bool {
	return a.hand && !l.hand && !(a.soak && (l.code == NoResponse || l.code == NotWalked))
}

// restStep is the place of `resting` among the interlocks.
func restStep() int {
	for i := range interlocks {
		if interlocks[i].code == RestingStill {
			return i
		}
	}
	return 0
}

// orderSoakEnd ends a soak that is on; what is open closes.
func (r *Room) orderSoakEnd(z *zone, e *Order) {
	if z.soak == nil {
		r.answer(e, false, NoReason, z.id+" is not being soaked")
		return
	}
	r.cutSoak(z, StoppedByPerson, "a person ended it")
	r.answer(e, true, NoReason, "the soak of "+z.id+" is ended")
}

// planSoak reckons the runs of a soak: as few as its longest run allows, and where it is
// given a time, one in every half hour at least, spread over it evenly.
func (z *zone) planSoak(e *Order) (*soak, string) {
	limits := z.cfg.Limits.Soak
	switch {
	case limits == nil:
		return nil, z.id + " may not be soaked: room.yaml gives it no `limits: {soak: {max_run, max_per_day, max_moisture}}`"
	case !(e.VolumeML > 0):
		return nil, "a soak has a volume for each plant: --volume 2L"
	case e.For < 0 || e.For > soakCeiling:
		return nil, sprintf("a soak lasts up to %s, not %s", words(soakCeiling), words(e.For))
	}
	whole, ok := z.cfg.RunTime(schedule.Shot{Kind: schedule.ByMillilitres, Value: e.VolumeML})
	if !ok {
		return nil, "the zone's emitters are not in room.yaml: nobody can tell how long that volume takes"
	}
	if because := tooShort(whole); because != "" {
		return nil, because
	}
	longest := min(limits.MaxRun, MaxRunCeiling)
	if whole > limits.MaxPerDay || whole > MaxPerDayCeiling {
		most := min(limits.MaxPerDay, MaxPerDayCeiling)
		return nil, sprintf("%s a plant take %s of valve time, a soak may have %s in 24 h", VolumeWords(e.VolumeML), words(whole), words(most))
	}
	s := &soak{order: e.ID, ml: e.VolumeML, lph: z.cfg.PlantLPH(), rest: z.minRest()}
	s.runs = int((whole + longest - 1) / longest)
	if e.For > 0 {
		paced := min(int((e.For+soakPace-1)/soakPace), int(whole/soakShortest))
		s.runs = max(s.runs, paced)
	}
	s.length = ceilMillis(float64(whole.Milliseconds()) / float64(s.runs))
	if need := s.planned(z); need > soakCeiling || e.For > 0 && need > e.For {
		advice := ": give it that long"
		if need > soakCeiling {
			advice = sprintf(", over %s: ask for less", words(soakCeiling))
		}
		return nil, sprintf("%s a plant in %d runs of %s with %s between take %s%s", VolumeWords(e.VolumeML), s.runs, words(s.length), words(s.rest), words(need), advice)
	}
	if free := e.For - s.wet(); s.runs > 1 && free > 0 {
		s.rest = max(s.rest, free/time.Duration(s.runs-1))
	}
	return s, ""
}

func (z *zone) minRest() time.Duration { return max(z.cfg.Limits.MinRest, MinRestFloor) }

// wet is the valve time of the whole soak.
func (s *soak) wet() time.Duration { return time.Duration(s.runs) * s.length }

// planned is how long the soak takes where nothing keeps it waiting.
func (s *soak) planned(z *zone) time.Duration {
	return s.wet() + time.Duration(s.runs-1)*max(s.rest, z.minRest())
}

// soakAsk is what a soak wants next.
func (z *zone) soakAsk() ask {
	s := z.soak
	a := ask{on: true, hand: true, soak: true, reason: Soak, length: s.length, evidence: s.sighted,
		because: sprintf("soak: run %d of %d, %s of %s a plant given before it", s.begun+1, s.runs, VolumeWords(s.mlIn(s.given)), VolumeWords(s.ml))}
	if s.begun > 0 {
		a.rest = s.rest
	}
	return a
}

// wantSoak lets a soak that is on ask in the place of the zone's windows, and ends one
// that lost its sight or is over.
func (r *Room) wantSoak(z *zone) {
	s := z.soak
	if s == nil {
		return
	}
	z.ask = ask{}
	s.sighted = s.sighted || z.est.known
	switch {
	case s.sighted && !z.est.known:
		cause := z.est.cause(z.cfg.Moisture.Quorum)
		r.cutSoak(z, cause, interlockOf(cause).words(r, z, nil))
	case z.run != nil:
	case r.t >= s.until:
		r.endSoak(z, WindowPassed, "its time is over: it had to wait for the supply, or for a walk")
	default:
		z.ask = z.soakAsk()
		r.at(s.until)
	}
}

// refuseSoak takes what an interlock says to a soak: it waits for its rest and its turn,
// all else ends it.
func (r *Room) refuseSoak(z *zone, l *interlock) {
	switch l.code {
	case SupplyBusy:
		z.reason = SupplyBusy
		return
	case RestingStill:
		z.waiting, z.reason = false, Soak
		return
	case Starting:
		if isUnclosed(r, z, &z.ask) { // the next report will tell
			z.waiting, z.reason = false, Soak
			return
		}
	}
	because := l.words(r, z, &z.ask)
	z.waiting, z.reason = false, l.code
	r.endSoak(z, l.code, because)
}

// cutSoak ends a soak and the run that it has open.
func (r *Room) cutSoak(z *zone, why Reason, because string) {
	if z.run != nil {
		r.closeRun(z.run, why, because)
		return
	}
	r.endSoak(z, why, because)
}

// soaked books a run of the soak that was closed. One that did not end as it should
// ends the soak.
func (r *Room) soaked(z *zone, d time.Duration, why Reason, because string) {
	s := z.soak
	if s == nil {
		return
	}
	s.given += d
	switch {
	case why != ShotDone:
		r.endSoak(z, why, because)
	case s.begun >= s.runs:
		r.endSoak(z, ShotDone, "all of it is given")
	}
}

// endSoak tells how much was given, and why no more.
func (r *Room) endSoak(z *zone, why Reason, because string) {
	s := z.soak
	z.soak, z.ask = nil, ask{}
	r.entry(&Entry{Kind: "soak-ended", Zone: z.id, Reason: why, Because: s.words() + ": " + because, Order: s.order,
		Seconds: s.given.Seconds(), Litres: z.litres(s.given)})
	r.dirty = true
}

// endSoaksWithout ends soaks that another plan does not allow any more.
func (r *Room) endSoaksWithout(p *Plan) {
	for _, z := range r.zones {
		if z.soak == nil {
			continue
		}
		allowed := false
		for i := range p.Zones {
			allowed = allowed || p.Zones[i].ID == z.id && p.Zones[i].Limits.Soak != nil
		}
		if !allowed || !sameOutputs(z, p) {
			r.cutSoak(z, PlanChanged, "the plan no longer allows it")
		}
	}
}

// maxMoisture is where nothing opens and what is open closes; a soak has its own.
func (z *zone) maxMoisture() Level {
	if z.soak != nil && z.cfg.Limits.Soak != nil {
		return z.cfg.Limits.Soak.MaxMoisture
	}
	return z.cfg.Limits.MaxMoisture
}

// isSoakSpent holds when a run of a soak does not fit what soaks may have in 24 h.
func isSoakSpent(r *Room, z *zone, a *ask) bool {
	s := z.cfg.Limits.Soak
	if s == nil || z.spent() || z.used(r.t, Soak)+a.length > s.MaxPerDay {
		r.atFreed(z)
		return true
	}
	return false
}

// mlIn gives what a plant gets in d of valve time.
func (s *soak) mlIn(d time.Duration) float64 { return s.lph * 1000 * d.Hours() }

// soakedAlready refuses what would come beside a soak.
func (z *zone) soakedAlready() string {
	return sprintf("%s is being soaked, %s; `rillgate soak %s --end` ends it", z.id, z.soak.words(), z.id)
}

// words says how far the soak is.
func (s *soak) words() string {
	return sprintf("%s of %s a plant given in %d of %d runs", VolumeWords(s.mlIn(s.given)), VolumeWords(s.ml), s.begun, s.runs)
}

// promise says what the soak will be.
func (s *soak) promise(r *Room, z *zone) string {
	because := sprintf("%s is soaked: %s a plant in %d runs of %s with %s between", z.id, VolumeWords(s.ml), s.runs, words(s.length), words(s.rest))
	if s.runs == 1 {
		because = sprintf("%s is soaked: %s a plant in one run of %s", z.id, VolumeWords(s.ml), words(s.length))
	}
	switch {
	case r.walking():
		return because + sprintf("; it waits until the room is walked, and takes about %s from there; no run begins after %s", words(s.planned(z)), r.clockWords(s.until))
	case s.runs == 1:
		return because
	}
	return because + ", until about " + r.clockWords(r.t+s.planned(z))
}

// VolumeWords gives millilitres as people say them: "120 mL", "2 L", "1.25 L".
func VolumeWords(ml float64) string {
	if ml < 999.5 {
		return strconv.FormatFloat(math.Round(ml), 'f', -1, 64) + " mL"
	}
	return strconv.FormatFloat(math.Round(ml/10)/100, 'f', -1, 64) + " L"
}
