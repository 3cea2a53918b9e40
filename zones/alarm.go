package zones

import (
	"slices"
	"time"
)

// alarm is one that stands: one code for one subject.
type alarm struct {
	code    Reason
	subject string
	since   time.Time
	age     time.Duration // of its beginning
	because string
	acked   bool
	sticky  bool // stands until acknowledged, not while a condition holds
	on, off bool // what was found in this look: a zone may have the name of the room or of a supply
}

// alarmID names one alarm: code and subject.
func alarmID(code Reason, subject string) string { return string(code) + "-" + subject }

// alarm gives the one that stands for a subject; nil = none. Few stand at once.
func (r *Room) alarm(code Reason, subject string) *alarm {
	for _, a := range r.alarms {
		if a.code == code && a.subject == subject {
			return a
		}
	}
	return nil
}

// raise makes an alarm active; again changes nothing.
func (r *Room) raise(code Reason, subject, because string) *alarm {
	if a := r.alarm(code, subject); a != nil {
		a.because = because
		return a
	}
	a := &alarm{code: code, subject: subject, since: r.now.Wall, age: r.t, because: because, sticky: code == AlarmUnfinishedRun, on: true}
	r.alarms = append(r.alarms, a)
	r.out = append(r.out, &Alarm{Code: code, Subject: subject, Active: true, Because: because})
	r.entry(&Entry{Kind: "alarm", Zone: r.zoneNamed(subject), Reason: code, Because: because})
	return a
}

func (r *Room) zoneNamed(subject string) string {
	if r.zoneBy[subject] != nil {
		return subject
	}
	return ""
}

// clear ends an alarm that stands.
func (r *Room) clear(a *alarm) {
	r.alarms = slices.DeleteFunc(r.alarms, func(b *alarm) bool { return a == b })
	r.out = append(r.out, &Alarm{Code: a.code, Subject: a.subject})
	r.entry(&Entry{Kind: "alarm-over", Zone: r.zoneNamed(a.subject), Reason: a.code})
}

// about is one subject while its alarms are looked at. Nearly always none stands.
type about struct {
	r       *Room
	subject string
	stand   []*alarm // of the subject, as the look began
}

// about gathers what stands of a subject; it writes over what it gathered before.
func (r *Room) about(subject string) about {
	r.gathered = r.gathered[:0]
	for _, a := range r.alarms {
		if a.subject == subject {
			r.gathered = append(r.gathered, a)
		}
	}
	return about{r, subject, r.gathered}
}

// standing gives the subject's alarm of a code; nil = none.
func (a *about) standing(code Reason) *alarm {
	for _, s := range a.stand {
		if s.code == code {
			return s
		}
	}
	return nil
}

// when keeps an alarm while its condition holds. One that no longer does is over at the end
// of the look.
func (a about) when(on bool, code Reason, because func() string) {
	switch stands := a.standing(code); {
	case on && stands == nil:
		a.r.raise(code, a.subject, because())
	case on:
		stands.on = true
	case stands != nil:
		stands.off = true
	}
}

// dropAlarms ends alarms of subjects that left the plan.
func (r *Room) dropAlarms() {
	for _, a := range r.sortedAlarms() {
		if r.subjectKnown(a.subject) {
			continue
		}
		r.clear(a)
	}
}

func (r *Room) subjectKnown(s string) bool {
	if s == r.plan.Room || r.zoneBy[s] != nil || r.controlBy[s] != nil || r.supplyOf(s) != nil {
		return true
	}
	return slices.ContainsFunc(r.probes, func(p *probe) bool { return p.id == s })
}

// sortedAlarms gives what stands, by code and subject.
func (r *Room) sortedAlarms() []*alarm {
	list := slices.Clone(r.alarms)
	slices.SortFunc(list, func(a, b *alarm) int {
		if a.code != b.code {
			return compare(a.code, b.code)
		}
		return compare(a.subject, b.subject)
	})
	return list
}

// lookAtAlarms asks every condition that is an alarm, whether or not it is the
// reason shown.
func (r *Room) lookAtAlarms() {
	room := r.about(r.plan.Room)
	for _, code := range []Reason{SecondGateway, CrashLoop} {
		l := hasLatch(r.mem.Latches, code)
		room.when(l != nil, code, func() string { return and(l.Because, r.soonest(anyZone)) })
	}
	room.when(hasLatch(r.mem.Latches, StoppedByPerson) != nil || r.forbidding(StopInput) != nil, StoppedByPerson, func() string { return and(stoppedWords(r, nil, nil), r.soonest(anyZone)) })
	room.when(hasLatch(r.mem.Latches, LeakFound) != nil || r.forbidding(Leak) != nil, LeakFound, func() string { return and(leakWords(r, nil, nil), r.soonest(anyZone)) })
	room.when(r.storeBroken != "", StoreFailed, func() string { return and(storeWords(r, nil, nil), r.soonest(anyZone)) })
	room.when(!r.brokerUp && r.t >= r.holdTo, BrokerLost, func() string { return and("the command connection to the broker is down", r.soonest(anyZone)) })
	room.when(!r.now.Trusted, ClockUnsure, func() string { return and(unsureWords, r.soonest(anyZone)) })
	for _, c := range r.controllers {
		r.about(c.id).when(!c.usable() && r.t >= r.holdTo, ControllerOffline, func() string {
			return and(controllerWords(c), r.soonest(func(z *zone) bool { return slices.Contains(z.ctls, c) }))
		})
	}
	for _, s := range r.supplies {
		a, mine := r.about(s.cfg.ID), func(z *zone) bool { return z.supply == s }
		a.when(r.lowInput(s) != nil, SupplyIsLow, func() string { return and(lowWords(r.lowInput(s)), r.soonest(mine)) })
		l := r.zoneless(s)
		a.when(l != nil, ValveMismatch, func() string { return and(l.Because, r.soonest(mine)) })
	}
	for _, z := range r.zones {
		r.zoneAlarms(z)
	}
	r.endAlarms()
}

// endAlarms ends those that were asked for in this look, and by nobody found to hold.
func (r *Room) endAlarms() {
	r.gathered = r.gathered[:0]
	for _, a := range r.alarms {
		if a.off && !a.on {
			r.gathered = append(r.gathered, a)
		}
		a.on, a.off = false, false
	}
	for _, a := range r.gathered {
		r.clear(a)
	}
}

func anyZone(*zone) bool { return true }

func (r *Room) zoneAlarms(z *zone) {
	a := r.about(z.id)
	for _, code := range []Reason{StoppedByPerson, LeakFound, ValveMismatch, NoResponse} {
		l := z.latch(code)
		a.when(l != nil, code, func() string { return and(l.Because, r.dryingWords(z, r.t)) })
	}
	a.when(isNotWalked(r, z, nil), NotWalked, func() string { return and(notWalkedWords(r, z, nil), r.dryingWords(z, r.t)) })
	m := z.cfg.Moisture
	a.when(isOverWet(r, z, nil), OverWet, func() string { return overWetWords(r, z, nil) })
	settled := r.t >= r.born+max(m.StaleAfter, r.holdTo-r.born)
	if !settled {
		r.at(r.born + max(m.StaleAfter, r.holdTo-r.born))
	}
	blind := len(z.probes) > 0 && !z.est.known && settled
	cause := z.est.cause(m.Quorum)
	a.when(blind && cause == ProbesLost, ProbesLost, func() string { return and(probesLostWords(r, z, nil), r.dryingWords(z, r.t)) })
	a.when(blind && cause == ProbesImplausible, ProbesImplausible, func() string { return and(probesImplausibleWords(r, z, nil), r.dryingWords(z, r.t)) })
	a.when(z.est.disagree, AlarmProbesDisagree, func() string { return disagreeWords(z, r.t) })
	a.when(r.overBudget(z), DailyLimit, func() string { return and(dailyWords(r, z, &z.ask), r.dryingWords(z, r.t)) })
	r.bandAlarm(a, z, AlarmPoreEC, z.cfg.PoreEC, &z.poreBand, "the pore water's EC", "mS/cm")
	r.bandAlarm(a, z, AlarmRootWarmth, z.cfg.RootTemperature, &z.warmBand, "the substrate's temperature", "°C")
	r.lookDry(a, z)
}

// overBudget holds while the shot of the open window does not fit any 24 h.
func (r *Room) overBudget(z *zone) bool {
	if z.spent() {
		return true
	}
	if z.run != nil {
		return false
	}
	if z.ask.on {
		return isSpent(r, z, &z.ask)
	}
	w := z.window()
	if w == nil || r.alarm(DailyLimit, z.id) == nil {
		return false
	}
	d, ok := z.cfg.RunTime(w.Shot)
	return ok && isSpent(r, z, &ask{length: d})
}

// dryState gathers what the alarm `dry` asks.
type dryState struct {
	underSince time.Duration // under its level since this age; forever = not
	setUp      bool
	refused    time.Duration // refused within windows, in all, since the last water
	last       time.Duration // age of the last look
	was        bool          // refused at the last look
}

const (
	dryRefused = 4 * time.Hour
	dryUnder   = 2 * time.Hour
	dryBlind   = 4 * time.Hour
)

// lookDry raises `dry` once, whatever keeps the zone from water.
func (r *Room) lookDry(a about, z *zone) {
	d := &z.dry
	if !d.setUp {
		d.setUp, d.underSince, d.last = true, forever, r.t
	}
	if d.was {
		d.refused += r.t - d.last
	}
	d.last = r.t
	d.was = z.window() != nil && z.run == nil && z.reason != NoReason && z.reason != RestingStill && z.reason != Soak && z.reason != ShotsSpent && z.reason != ""
	if z.run != nil && z.run.phase == opened {
		d.refused = 0
	}
	level, span := z.sit.LowestBelow-nearLevel, dryUnder
	if rule := z.cfg.Dry; rule != nil {
		level, span = rule.Below, rule.For
	} else if z.sit.LowestBelow == 0 {
		level = -1
	}
	if z.est.known && z.est.value < level {
		d.underSince = min(d.underSince, r.t)
	} else if z.est.known { // probes that come and go do not make a dry zone wet
		d.underSince = forever
	}
	a.when(!z.sit.Fallow && z.hasWindows() && r.isDry(z, span), AlarmDry, func() string { return dryWords(r, z) })
}

// isDry asks the rules of `dry`, and makes sure of a look when one may come true.
func (r *Room) isDry(z *zone, span time.Duration) bool {
	d := &z.dry
	dry := false
	due := func(t time.Duration) {
		if r.t >= t {
			dry = true
		} else {
			r.at(t)
		}
	}
	if d.underSince != forever {
		due(d.underSince + span)
	}
	if z.cfg.Dry != nil {
		return dry
	}
	if d.was {
		due(r.t + dryRefused - d.refused)
	} else if d.refused >= dryRefused {
		dry = true
	}
	if z.mem.Lost != 0 && len(z.probes) > 0 {
		due(z.mem.Lost + dryBlind)
	}
	return dry
}
