package zones

import (
	"slices"
	"time"

	"rillgate/schedule"
)

// lookAtZone renews the estimate, the window and what the zone wants.
func (r *Room) lookAtZone(z *zone) {
	r.situate(z)
	r.see(z)
	r.want(z)
	r.wantSoak(z)
}

// see renews the estimate at r.t and what hangs on it.
func (r *Room) see(z *zone) {
	was := z.est.known
	z.est = z.estimate(r.t)
	if z.est.staleAt != forever {
		r.at(z.est.staleAt + 1)
	}
	for _, p := range z.probes {
		if r.t < p.ignoredTo {
			r.at(p.ignoredTo)
		}
		if p.excluded || p.outside {
			r.at(p.staleAt() + 1) // why the zone has no estimate may be another then
		}
	}
	if z.est.known {
		r.noteLevel(z)
		if z.mem.Lost != 0 {
			z.mem.Lost, z.changed = 0, true
		}
	} else if z.mem.Lost == 0 && len(z.probes) > 0 {
		z.mem.Lost, z.changed = r.t, true
	}
	if was != z.est.known {
		r.dirty = true
	}
}

// noteLevel keeps the highest moisture of the day and since the shots that wait to
// be felt.
func (r *Room) noteLevel(z *zone) {
	v := z.est.value
	if r.now.Trusted && !z.sit.LightsOn.Equal(z.mem.DayOf) {
		z.mem.DayOf, z.mem.DayHigh, z.changed = z.sit.LightsOn, 0, true
	}
	z.mem.Level, z.mem.LevelAt = v, z.est.newest
	if r.t >= z.doubtAt {
		z.mem.LevelHalf, z.doubtAt = z.doubt(r.t), r.t+time.Minute
	}
	if v > z.mem.DayHigh {
		z.mem.DayHigh, z.changed = v, true
	}
	if rm := &z.mem.Response; rm.Shots > 0 && v > rm.High {
		rm.High, z.changed = v, true
	}
}

// situate asks the schedule, when what it said no longer holds. An unsure clock
// asks nothing: what was open stays as it was, and nothing starts by it.
func (r *Room) situate(z *zone) {
	if !r.now.Trusted {
		z.sitSet = false
		return
	}
	w := r.now.Wall
	if !z.sitSet || w.Before(z.sit.Since) || !w.Before(z.sit.Until) {
		was, wasOpen := z.sit.Instance.ID, z.sit.Open && z.sitSet
		z.sit = schedule.At(&r.plan.Calendar, &z.cfg.Schedule, w)
		z.sitSet, z.nextSet = true, false
		if wasOpen && z.waiting && z.soak == nil && z.sit.Instance.ID != was {
			z.passed = true
			z.refusals[WindowPassed]++
			r.entry(&Entry{Kind: "refused", Zone: z.id, Reason: WindowPassed, Because: "the window shut while the zone waited for the supply"})
		}
		if z.sit.Open && z.sit.Instance.ID != was {
			z.passed = false
		}
		r.enterInstance(z)
	}
	r.at(r.t + z.sit.Until.Sub(w))
}

// enterInstance goes on in the instance that is open, with what it had so far.
func (r *Room) enterInstance(z *zone) {
	if !z.sit.Open || z.sit.Instance.ID == z.mem.Progress.Instance {
		return
	}
	p := z.mem.recall(z.sit.Instance.ID)
	r.mem.enter(z.mem, p)
	z.urgent = true
	if z.ran() {
		return
	}
	r.clearHighs(z)
	for _, p := range z.probes {
		if p.heard && p.arrived == r.t {
			r.noteHigh(p) // heard as the window opened
		}
	}
}

// ran reports whether any of the zone's outputs was ever open.
func (z *zone) ran() bool {
	for _, o := range z.outs {
		if o.mem.Ran {
			return true
		}
	}
	return false
}

// rested gives the age at which the zone was last open.
func (z *zone) rested() time.Duration {
	t := time.Duration(0)
	for _, o := range z.outs {
		if o.mem.Ran {
			t = max(t, o.mem.Rested)
		}
	}
	return t
}

// restUntil gives the age until which the zone rests.
func (z *zone) restUntil(rest time.Duration) time.Duration {
	if !z.ran() {
		return 0
	}
	return z.rested() + max(rest, z.cfg.Limits.MinRest)
}

// window gives the window that is open, or nil.
func (z *zone) window() *schedule.Window {
	if !z.sitSet || !z.sit.Open {
		return nil
	}
	return &z.sit.Instance.Window
}

// wantsFall reports whether the open window goes by each probe's fall.
func (z *zone) wantsFall() bool {
	w := z.window()
	return w != nil && w.DryBack > 0
}

// want finds out what the zone asks for: a shot of its window, the fallback, or
// nothing.
func (r *Room) want(z *zone) {
	z.ask, z.trigger = ask{}, schedule.None
	w := z.window()
	z.setQuiet(w)
	if w == nil {
		return
	}
	sight := schedule.Sight{Known: z.est.known, Moisture: z.est.value, FallKnown: z.est.fallKnown, Fall: z.est.fall}
	trigger, p := schedule.Decide(w, z.mem.Progress, sight)
	if p != z.mem.Progress {
		z.mem.Progress = p
		z.urgent = true
	}
	z.trigger = trigger
	if z.passed || z.run != nil {
		return
	}
	if trigger == schedule.None {
		r.wantFallback(z, w)
		return
	}
	length, ok := z.cfg.RunTime(w.Shot)
	if !ok {
		return
	}
	z.ask = ask{
		on: true, reason: triggerReason[trigger], length: length, rest: w.Rest, window: z.sit.Instance.ID,
		evidence: len(z.probes) > 0 && !(w.Timed() && w.WithoutProbes),
		deficit:  deficit(w, z.est),
	}
	if z.ask.evidence && !z.est.known {
		r.wantFallbackFor(z, w)
	}
}

var triggerReason = map[schedule.Trigger]Reason{
	schedule.BelowThreshold: BelowThreshold,
	schedule.DriedBack:      DriedBack,
	schedule.ToLevel:        ToLevel,
	schedule.ByTime:         TimedShot,
}

// deficit says how far the zone is under the level that it waters to or from.
func deficit(w *schedule.Window, e estimate) Level {
	if !e.known {
		return 0
	}
	level := max(w.Below, w.Floor)
	if level == 0 {
		level = w.StopAt
	}
	if w.DryBack > 0 && e.fallKnown {
		return max(e.fall-w.DryBack, level-e.value, 0)
	}
	return max(level-e.value, 0)
}

// wantFallback asks for the timed fallback in a moisture window without estimate.
func (r *Room) wantFallback(z *zone, w *schedule.Window) {
	if !w.Timed() && !z.est.known {
		r.wantFallbackFor(z, w)
	}
}

func (r *Room) wantFallbackFor(z *zone, w *schedule.Window) {
	f := z.cfg.Lost
	if f == nil || w.Timed() || z.mem.Lost == 0 {
		return
	}
	due := max(z.rested(), z.mem.Lost) + f.Every
	if r.t < due {
		r.at(due)
		return
	}
	length, ok := z.cfg.RunTime(f.Shot)
	if !ok {
		return
	}
	z.ask = ask{on: true, reason: LostProbesTimed, length: length, rest: f.Every, fallback: true,
		because: sprintf("its probes are lost and %s have passed without water", words(f.Every))}
}

// setQuiet finds the band of moisture within which nothing changes, so that most
// readings need no look at the room.
func (z *zone) setQuiet(w *schedule.Window) {
	lo, hi := Level(-1<<30), Level(1<<30)
	v := z.est.value
	edge := func(l Level) {
		if l <= 0 {
			return
		}
		if l <= v {
			lo = max(lo, l)
		} else {
			hi = min(hi, l)
		}
	}
	edge(z.maxMoisture())
	if d := z.cfg.Dry; d != nil {
		edge(d.Below)
	} else if z.sit.LowestBelow > 0 {
		edge(z.sit.LowestBelow - nearLevel)
	}
	z.fallTop = 1 << 30
	if w != nil {
		edge(w.Below)
		edge(w.StopAt)
		edge(w.Floor)
		if w.DryBack > 0 {
			z.fallTop = w.DryBack
		}
	}
	z.lo, z.hi = lo, hi
}

// lookAtWants asks the interlocks for each want and starts what they allow. Zones
// that share a supply take turns: the one that waited longest goes next, and nobody
// overtakes it.
func (r *Room) lookAtWants() {
	for _, z := range r.zones {
		if z.run != nil || !z.ask.on {
			z.waiting = false
			if z.run == nil {
				r.standing(z)
			}
			continue
		}
		r.atRest(z, &z.ask)
		l, ok := r.permit(z, &z.ask, supplyStep)
		if !ok {
			r.refuse(z, l)
			continue
		}
		if !z.waiting {
			z.waiting, z.since = true, r.t
		}
		z.reason = ""
	}
	for _, s := range r.supplies {
		r.serve(s)
	}
}

// atRest makes sure of a look when the zone's rest is over.
func (r *Room) atRest(z *zone, a *ask) {
	if t := z.restUntil(a.rest); t > r.t {
		r.at(t)
	}
}

// serve lets waiting zones of a supply open, in their order, as far as it reaches.
func (r *Room) serve(s *supply) {
	var queue []*zone
	for _, z := range s.zones {
		if z.waiting && z.run == nil {
			queue = append(queue, z)
		}
	}
	slices.SortStableFunc(queue, func(a, b *zone) int {
		switch {
		case a.since != b.since:
			return compare(a.since, b.since)
		case a.ask.deficit != b.ask.deficit:
			return compare(b.ask.deficit, a.ask.deficit)
		}
		return compare(a.id, b.id)
	})
	blocked := r.walking()
	for _, z := range queue {
		if blocked || r.busy(z) {
			blocked = true
			r.refuse(z, &interlocks[supplyStep])
			continue
		}
		r.start(z, &z.ask)
	}
}

// refuse notes why a want is not met; the journal hears of it with the state.
func (r *Room) refuse(z *zone, l *interlock) {
	if z.soak != nil {
		r.refuseSoak(z, l)
		return
	}
	if l.code != SupplyBusy {
		z.waiting = false
	}
	z.reason = l.code
}

// standing gives the reason of a zone that asks for nothing: the first interlock
// that holds, where one is to be shown without a want, where the trigger cannot be
// known, or where the clock keeps its windows shut.
func (r *Room) standing(z *zone) {
	z.reason = NoReason
	w := z.window()
	blind := w != nil && !w.Timed() && !z.est.known
	a := &r.noAsk
	*a = ask{evidence: blind}
	show := blind || (!r.now.Trusted && z.hasWindows())
	for i := range interlocks {
		l := &interlocks[i]
		show = show || (l.standing && l.holds(r, z, a))
	}
	if !show {
		if z.passed {
			z.reason = WindowPassed
		}
		return
	}
	for i := range interlocks {
		l := &interlocks[i]
		if l.code == DailyLimit {
			return // from here on they ask for a shot
		}
		if l.holds(r, z, a) {
			z.reason = l.code
			return
		}
	}
}

func (z *zone) hasWindows() bool {
	return len(z.cfg.Schedule.Windows) > 0 || z.cfg.Schedule.Crop != nil
}
