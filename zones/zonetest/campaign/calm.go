package campaign

import (
	"maps"
	"slices"
	"strings"
	"time"

	"rillgate/zones"
)

// calm looks at the room from outside now and then: what it says of itself, whether a
// dry zone is told of, and, when all faults have stopped, whether it waters again.
type calm struct {
	nextLook     time.Duration
	began        bool
	dry          map[string]bool
	refused      map[string]time.Duration // refused within windows since the last water
	spells       map[string]*spell
	under        map[string]time.Duration // since when a zone is under its dry level
	unmet        map[string]time.Duration // since when a trigger is met and nothing follows
	acknowledged time.Duration            // when a probe was last told to start afresh
	view         zones.View               // of the last look
}

// spell is how long a zone was refused since the last look.
type spell struct {
	on    bool
	from  time.Duration
	spent time.Duration
}

func (s *spell) until(now time.Duration, on bool) {
	if s.on {
		s.spent += now - s.from
	}
	s.on, s.from = on, now
}

const (
	// A trigger that is met leads to a run or a refusal at the next tick; a queue of
	// four zones is through in this time.
	unmetFor   = 3 * time.Minute
	queueFor   = 45 * time.Minute
	latchesFor = 5 * time.Hour
	driftFor   = 25 * time.Minute
	// closely is how long the room is looked at often, from when the faults stopped on.
	closely = 3 * time.Hour
)

func (m *calm) begin() {
	m.dry, m.refused = map[string]bool{}, map[string]time.Duration{}
	m.spells = map[string]*spell{}
	m.under, m.unmet = map[string]time.Duration{}, map[string]time.Duration{}
}

// effect books what tells of dry zones and of water.
func (m *calm) effect(w *world, e zones.Effect) {
	switch e := e.(type) {
	case *zones.Alarm:
		if e.Code != zones.AlarmDry {
			return
		}
		if e.Active && m.dry[e.Subject] {
			w.failf("INV-31: alarm dry of %s comes twice", e.Subject)
		}
		if m.dry[e.Subject] = e.Active; e.Active {
			w.result.Dry[e.Subject] = append(w.result.Dry[e.Subject], w.now)
		}
		delete(m.under, e.Subject)
	case *zones.State:
		m.spell(e.Zone).until(w.now, refuses(e.State, e.Reason))
	case *zones.Entry:
		if e.Kind == "run-opened" {
			m.refused[e.Zone] = 0
			m.spell(e.Zone).spent = 0
			delete(m.unmet, e.Zone)
			if w.now >= w.c.calm() {
				w.result.Calm++
			}
		}
	}
}

func (m *calm) spell(zone string) *spell {
	if m.spells[zone] == nil {
		m.spells[zone] = &spell{}
	}
	return m.spells[zone]
}

// refuses reports whether a zone in this state is kept from water.
func refuses(state zones.ZoneState, why zones.Reason) bool {
	return slices.Contains([]zones.ZoneState{zones.Waiting, zones.Held, zones.Stopped, zones.Latched}, state) && why != zones.ShotsSpent
}

// newProcess forgets what a process forgets.
func (m *calm) newProcess() {
	clear(m.dry)
	clear(m.refused)
	clear(m.spells)
	clear(m.under)
	clear(m.unmet)
}

// newPlan forgets the zones that are not in it: what comes back later begins anew.
func (m *calm) newPlan(p *zones.Plan) {
	left := func(id string) bool {
		return !slices.ContainsFunc(p.Zones, func(z zones.Zone) bool { return z.ID == id })
	}
	maps.DeleteFunc(m.refused, func(id string, _ time.Duration) bool { return left(id) })
	maps.DeleteFunc(m.spells, func(id string, _ *spell) bool { return left(id) })
	maps.DeleteFunc(m.under, func(id string, _ time.Duration) bool { return left(id) })
}

// look asks the room what it shows.
func (m *calm) look(w *world) {
	if !m.began && w.now >= w.c.calm() {
		m.began = true
		w.mend()
	}
	if w.now < m.nextLook || !w.alive || w.stalled > w.now {
		return
	}
	since := w.set.lookEvery
	if m.began && w.now < w.c.calm()+closely {
		since = w.set.calmLook
	}
	m.nextLook = w.now + since
	v := w.room.ViewInto(m.view, w.instant())
	m.view = v
	w.checker.View(w.instant(), v)
	w.fail(w.checker.Err())
	for id := range m.spells { // one that left the plan begins anew
		if !slices.ContainsFunc(v.Zones, func(z zones.ZoneView) bool { return z.ID == id }) {
			delete(m.spells, id)
		}
	}
	for i := range v.Zones {
		m.dryZone(w, &v, &v.Zones[i])
		if w.now >= w.c.calm()+3*time.Minute+w.set.settled {
			m.waters(w, &v, &v.Zones[i])
		}
	}
}

// dryZone: who gets no water for long is told of, whatever the reason.
func (m *calm) dryZone(w *world, v *zones.View, z *zones.ZoneView) {
	s := m.spell(z.ID)
	if s.until(w.now, refuses(z.State, z.Reason)); z.Window != "none" {
		m.refused[z.ID] += s.spent
	}
	s.spent = 0
	rule := dryRule(w.plan, z.ID)
	if rule == nil {
		// A window that opens or ends between two looks is taken for one of the whole time.
		if m.refused[z.ID] > 4*time.Hour+30*time.Minute+2*w.set.lookEvery && !m.dry[z.ID] {
			w.failf("INV-31: zone %s was refused for %s within its windows, and no alarm dry stands", z.ID, m.refused[z.ID])
		}
		return
	}
	if z.Moisture == nil || *z.Moisture >= rule.Below.Float()-0.5 || wavers(v, z.ID) { // not one that wavers at its level
		delete(m.under, z.ID)
		return
	}
	if m.under[z.ID] == 0 {
		m.under[z.ID] = w.now
	}
	if w.now-m.under[z.ID] > rule.For+2*w.set.lookEvery && !m.dry[z.ID] {
		w.failf("INV-31: zone %s is under its dry level for %s, and no alarm dry stands", z.ID, w.now-m.under[z.ID])
	}
}

func dryRule(p *zones.Plan, zone string) *zones.DryRule {
	for i := range p.Zones {
		if p.Zones[i].ID == zone {
			return p.Zones[i].Dry
		}
	}
	return nil
}

// mend is what people do when the faults have stopped: the old plan, a disk that
// works, a clock set right; what was latched is reset and what was asked taken back.
func (w *world) mend() {
	w.tale.say(w.now, "all faults have stopped")
	w.clock = clock{}
	if w.disk.broken || !w.alive {
		w.crash(0, 1)
	}
	w.queue.push(w.now, func(w *world) {
		w.plan = w.set.plans[0]
		m := &w.calm
		m.newPlan(w.plan)
		w.give(&zones.NewPlan{Plan: w.plan})
		for _, at := range []time.Duration{0, time.Minute, 2 * time.Minute, time.Hour, 2 * time.Hour, 3 * time.Hour, 4 * time.Hour} {
			w.queue.push(w.now+at, (*world).resetAll)
		}
		w.trustProbes()
		for i := range w.plan.Probes {
			p := &w.plan.Probes[i]
			w.order(Fault{Other: string(zones.OrderAssign), Subject: p.ID + " " + p.Zone})
			w.order(Fault{Other: string(zones.OrderIgnore), Subject: p.ID, Value: 0.001})
		}
		for i := range w.plan.Zones {
			w.order(Fault{Other: string(zones.OrderSoak), Subject: w.plan.Zones[i].ID})
		}
	})
}

func (w *world) resetAll() {
	subjects := []string{"room", "feed"}
	for i := range w.plan.Zones {
		subjects = append(subjects, w.plan.Zones[i].ID)
	}
	for _, s := range subjects {
		w.order(Fault{Other: string(zones.OrderReset), Subject: s})
	}
	for _, s := range subjects[2:] { // a crash may have taken the first word
		w.order(Fault{Other: string(zones.OrderRelease), Subject: s})
	}
	w.order(Fault{Other: string(zones.OrderAcknowledge)})
	if !w.alive || w.stalled > w.now {
		return
	}
	for _, p := range w.room.View(w.instant()).Probes {
		if p.Quality == zones.ProbeImplausible {
			w.calm.acknowledged = w.now
			w.order(Fault{Other: string(zones.OrderAcknowledge), Subject: p.ID})
		}
	}
}

// trustProbes lets every probe start afresh: each counts from its second reading on.
func (w *world) trustProbes() {
	for i := range w.plan.Probes {
		w.order(Fault{Other: string(zones.OrderAcknowledge), Subject: w.plan.Probes[i].ID})
	}
}

// waters is INV-31: with all faults gone nothing but the schedule, the budget and the
// turn of others keeps water from a zone; and where it is due, it comes.
func (m *calm) waters(w *world, v *zones.View, z *zones.ZoneView) {
	since := w.now - w.c.calm()
	if z.Reason == zones.ControllerOffline && strings.Contains(z.Because, "runs off") && since < driftFor {
		return // two measures over ten minutes each have to agree first
	}
	if z.Reason == zones.ProbesLost && w.now < m.acknowledged+w.set.settled {
		return
	}
	switch z.Reason {
	case zones.Starting, zones.SecondGateway, zones.CrashLoop, zones.StoppedByPerson, zones.StoreFailed, zones.ValveMismatch,
		zones.BrokerLost, zones.ControllerOffline, zones.SupplyIsLow, zones.ClockUnsure, zones.HeldByPerson, zones.ProbesLost:
		w.failf("INV-31: zone %s is refused by %s %s after all faults have stopped: %s", z.ID, z.Reason, since, z.Because)
	case zones.LeakFound, zones.ProbesImplausible:
		if apart(v, z.ID) {
			return // a valve that stood open wetted a half of the bed, and the halves differ still
		}
		// What probes showed before may still be judged; hourly resets end it. No-response
		// may come much later: the shot before the next one was in the time of faults.
		if since > latchesFor {
			w.failf("INV-31: zone %s is refused by %s %s after all faults have stopped: %s", z.ID, z.Reason, since, z.Because)
		}
	}
	due := z.State == zones.Watching && z.Moisture != nil && z.Below != nil && *z.Moisture < *z.Below-0.01
	limit := unmetFor
	if z.State == zones.Waiting && z.Reason == zones.SupplyBusy {
		due, limit = true, queueFor
	}
	if !due {
		delete(m.unmet, z.ID)
		return
	}
	if m.unmet[z.ID] == 0 {
		m.unmet[z.ID] = w.now
	}
	if w.now-m.unmet[z.ID] > limit {
		w.failf("INV-31: zone %s is %s at %.1f %%, below %.1f %%, for %s", z.ID, z.State, value(z.Moisture), value(z.Below), w.now-m.unmet[z.ID])
	}
}

// apart reports whether a zone's probes read what can be, and differ.
func apart(v *zones.View, zone string) bool {
	n := 0
	for i := range v.Probes {
		if p := &v.Probes[i]; p.Zone == zone && p.Quality == zones.ProbeOutlier {
			n++
		} else if p.Zone == zone && p.Quality == zones.ProbeImplausible {
			return false
		}
	}
	return n > 0
}

// wavers reports whether a zone's probes differ by so much that one of them may count at
// one reading and be left out at the next.
func wavers(v *zones.View, zone string) bool {
	lo, hi := 200.0, -1.0
	for i := range v.Probes {
		if p := &v.Probes[i]; p.Zone == zone && p.Moisture != nil && (p.Quality == zones.ProbeGood || p.Quality == zones.ProbeOutlier) {
			lo, hi = min(lo, *p.Moisture), max(hi, *p.Moisture)
		}
	}
	return hi-lo > 4
}

func value(v *float64) float64 {
	if v == nil {
		return -1
	}
	return *v
}
