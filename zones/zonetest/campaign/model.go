package campaign

import (
	"time"

	"rillgate/zones"
	"rillgate/zones/simroom"
	"rillgate/zones/zonetest"
)

// What the model forgives: timers, and messages that are on their way.
const (
	timerSlack = 200 * time.Millisecond
	timerLate  = 100 * time.Millisecond // of each run that a controller ends by itself
	closeSlack = 6 * time.Second
	walkSlack  = 3 * time.Second // what a walk that times a cut-off waits beyond it, a master's lead in it
	// rest counts from the command to close when that is confirmed within this time
	confirmTime = 2*time.Second + timerSlack
)

// model is the naive look at the room: which outputs hold current that we let flow,
// for how long, how many at once, how much in a day. It asks the simulated outputs
// and the plan in force, nothing else.
type model struct {
	w         *world
	outs      []*contact
	runs      map[string]limits // of each run, when it was first commanded
	epoch     uint32
	foreign   uint32        // highest epoch of another gateway
	disturbed int           // faults that keep a close from arriving
	upset     time.Duration // when that last was so
	wakeAt    time.Duration
}

// limits are those in force when a run was first commanded.
type limits struct {
	run  time.Duration
	soak bool
	walk bool // its grants are not renewed on purpose
}

// contact is one output.
type contact struct {
	at      zones.Output
	coil    simroom.Coil
	bed     string // zone that it waters in the first plan; "" for a master
	rest    time.Duration
	budget  time.Duration // the highest max_per_day of any plan
	soak    time.Duration // what soaks may have in a day
	told    time.Duration // until when it was granted, if all that was sent came
	wanted  bool          // told to open, and not to close since
	foreign bool          // another gateway opened it
	hidden  bool          // it is dead and would be on, or came to life after it was told to close
	on      bool
	since   time.Duration
	run     string
	past    []simroom.Interval
	soaked  []simroom.Interval // those of past that were soaks
}

func newModel(w *world) *model {
	m := &model{w: w, runs: map[string]limits{}, wakeAt: simroom.Never}
	p := w.set.plans[0]
	for i := range p.Zones {
		z := &p.Zones[i]
		for _, id := range z.Valves {
			for j := range p.Valves {
				if p.Valves[j].ID == id {
					m.outs = append(m.outs, &contact{at: p.Valves[j].Output, bed: z.ID, rest: z.Limits.MinRest, budget: z.Limits.MaxPerDay, soak: soakLimits(z).MaxPerDay})
				}
			}
		}
	}
	if s := p.Supplies[0].Master; s != nil {
		m.outs = append(m.outs, &contact{at: s.Output})
	}
	for _, c := range m.outs {
		c.coil = w.sim.Coil(c.at)
	}
	return m
}

func (m *model) contact(at zones.Output) *contact {
	for _, c := range m.outs {
		if c.at == at {
			return c
		}
	}
	return nil
}

// next is when a grant runs out that no output will drop by.
func (m *model) next() time.Duration { return m.wakeAt }

// opens books the first command of a run, and tells whether this was it.
func (m *model) opens(cmd *zones.Command) bool {
	if _, ok := m.runs[cmd.Run]; ok || cmd.Zone == "" {
		return false
	}
	p := m.w.plan
	for i := range p.Zones {
		if z := &p.Zones[i]; z.ID == cmd.Zone {
			m.runs[cmd.Run] = limits{run: z.Limits.MaxRun, walk: cmd.Reason == zones.Walk}
			if cmd.Reason == zones.Soak {
				m.runs[cmd.Run] = limits{run: soakLimits(z).MaxRun, soak: true}
			}
			return true
		}
	}
	m.w.failf("model: zone %q is watered, which the plan does not have", cmd.Zone)
	return true
}

// stepped books what was commanded, and looks whether what ends all runs did so at once.
func (m *model) stepped(ev zones.Event, effects []zones.Effect, crash bool) {
	wanted := 0
	for _, c := range m.outs {
		if ev == nil {
			c.wanted = false
		}
		if c.wanted {
			wanted++
		}
	}
	accepted := false
	for _, e := range effects {
		switch e := e.(type) {
		case *zones.Command:
			m.epoch = e.Epoch
			if c := m.contact(e.Output); c != nil {
				c.wanted = e.Open
				m.tell(c, e)
			}
		case *zones.Answer:
			accepted = e.Accepted
		}
	}
	if crash || wanted == 0 || !endsAll(ev, accepted) {
		return
	}
	m.w.result.AtOnce++
	for _, c := range m.outs {
		if c.wanted {
			m.w.failf("INV-26: %s is not told to close in the step that ends all runs (%T)", c.at, ev)
		}
	}
}

// tell books until when the process believes an output to be granted: a renewal may be
// lost, and then it closes what has no cut-off of its own at that moment only.
func (m *model) tell(c *contact, cmd *zones.Command) {
	c.told = 0
	if _, uptime, ok := m.w.sim.Boot(c.at.Controller); ok && cmd.Open {
		c.told = m.w.now + time.Duration(cmd.UntilMS-uptime)*time.Millisecond
	}
}

// endsAll reports whether an event ends every run of the room.
func endsAll(ev zones.Event, accepted bool) bool {
	switch ev := ev.(type) {
	case *zones.Order:
		return ev.Kind == zones.OrderStop && ev.Zone == "" && accepted
	case *zones.InputState:
		return ev.Active && (ev.ID == "floor" || ev.ID == "halt")
	case *zones.BrokerLink:
		return !ev.Up
	case *zones.RecordFailed, *zones.Shutdown:
		return true
	}
	return false
}

// commanded books a command that arrived. None grants more than a lease ahead.
func (m *model) commanded(cmd *zones.Command, acted, foreign bool) {
	c := m.contact(cmd.Output)
	if acted && c != nil {
		c.foreign = foreign && cmd.Open
		if _, until := m.w.sim.Contact(c.at); cmd.Open && !foreign && until > m.w.now+m.longestLease()*201/200+timerSlack { // its clock may run off until that shows
			m.w.failf("model: %s is granted %s ahead", c.at, until-m.w.now)
		}
		if cmd.Open && !c.on {
			c.run = cmd.Run
		}
	}
	m.look()
}

func (m *model) longestLease() time.Duration {
	var l time.Duration
	for _, p := range m.w.set.plans {
		l = max(l, p.Lease)
	}
	return l
}

// look asks every output for its current.
func (m *model) look() {
	w := m.w
	m.wakeAt = simroom.Never
	if m.excused() {
		m.upset = w.now
	}
	for _, c := range m.outs {
		on, until := c.coil.Contact()
		if c.revived(on, until > w.now) {
			on, until = false, 0
		}
		ours := on && until > 0 && !c.foreign
		if ours && w.c.NoCutOff {
			if until > w.now {
				m.wakeAt = min(m.wakeAt, until)
			} else {
				m.overrun(c, until)
				if ours = false; c.on {
					w.checker.Lapsed(c.at)
				}
			}
		}
		if c.on && !ours && on {
			w.checker.Lapsed(c.at) // its contacts are welded: reports go on to show the run
		}
		if ours != c.on {
			m.moved(c, ours)
		}
		if c.on && c.bed != "" {
			if l := m.runs[c.run]; w.now-c.since > l.run+timerSlack {
				w.failf("model: %s is open %s, max_run %s", c.at, w.now-c.since, l.run)
			}
		}
	}
}

// excused reports whether something keeps a close from arriving.
func (m *model) excused() bool {
	w := m.w
	young := w.alive && (len(w.disk.slow)+w.disk.fails > 0 || w.now <= w.disk.lastDue)
	return m.disturbed > 0 || m.foreign >= m.epoch || !w.alive || w.stalled > w.now || !w.wire.up || len(w.wire.faults) > 0 || young
}

// overrun: without the controller's own cut-off, our close alone ends a run; it comes
// in time unless something kept it away.
func (m *model) overrun(c *contact, until time.Duration) {
	slack := closeSlack
	if m.runs[c.run].walk {
		slack += walkSlack
	}
	if late := m.w.now - max(until, m.upset, c.told); late > slack {
		m.w.failf("model: %s is open %s past its last deadline, and nobody closed it for %s", c.at, m.w.now-until, late)
	}
}

// moved books a contact that went on or off, and tells the checker.
func (m *model) moved(c *contact, on bool) {
	w := m.w
	c.on = on
	w.checker.Physical(w.instant(), c.at, on)
	if on {
		c.since = w.now
		if c.bed != "" {
			m.opened(c)
		}
	} else {
		was := simroom.Interval{From: c.since, To: w.now}
		c.past = recent(append(c.past, was), w.now)
		if m.runs[c.run].soak {
			c.soaked = append(c.soaked, was)
		}
		c.soaked = recent(c.soaked, w.now)
		if c.bed != "" {
			m.day(c)
		}
	}
	w.fail(w.checker.Err())
}

// recent leaves out what was two days ago.
func recent(list []simroom.Interval, now time.Duration) []simroom.Interval {
	for len(list) > 0 && list[0].To < now-2*day {
		list = list[1:]
	}
	return list
}

// day: shots and soaks of any 24 h keep to their own limits, and both to the ceiling.
func (m *model) day(c *contact) {
	from, late := m.w.now-day, timerSlack+time.Duration(len(c.past))*timerLate
	all, soaks := simroom.OpenTime(c.past, from, m.w.now), simroom.OpenTime(c.soaked, from, m.w.now)
	if m.w.result.Happened[string(simroom.ClockRunsOff)] > 0 {
		late += all / 200 // that does not show yet
	}
	switch {
	case all-soaks > c.budget+late:
		m.w.failf("model: %s was open %s in 24 h, max_per_day %s", c.at, all-soaks, c.budget)
	case soaks > c.soak+late:
		m.w.failf("model: %s was open %s in 24 h by soaks, they may have %s", c.at, soaks, c.soak)
	case all > zones.MaxPerDayCeiling+late:
		m.w.failf("model: %s was open %s in 24 h", c.at, all)
	}
}

// soakLimits are the zone's, or none at all.
func soakLimits(z *zones.Zone) zones.SoakLimits {
	if z.Limits.Soak == nil {
		return zones.SoakLimits{}
	}
	return *z.Limits.Soak
}

// revived reports whether the contact was dead and came to life with a grant whose run is
// over: no report could tell, so that it counts as welded until it is closed.
func (c *contact) revived(on, granted bool) bool {
	c.hidden = granted && !c.wanted && (!on || c.hidden)
	return on && c.hidden
}

// opened: no more at once than the supply can feed, and none before its bed rested.
func (m *model) opened(c *contact) {
	w, n := m.w, 0
	for _, o := range m.outs {
		if o.bed == "" {
			continue
		}
		if o.on {
			n++
		}
		if o.bed == c.bed && o.run != c.run && len(o.past) > 0 {
			if rested := w.now - o.past[len(o.past)-1].To; rested < c.rest-confirmTime || o.on {
				w.failf("model: %s opens %s after its bed was last open, min_rest %s", c.at, rested, c.rest)
			}
		}
	}
	m.feeds(c)
	if most := w.set.plans[0].Supplies[0].MaxOpen; n > most {
		w.failf("model: %s is open as number %d, max_open %d", c.at, n, most)
	}
}

// feeds looks whether the supply's pressure and the controller's transformer carry what is
// open now that an output has opened. These are the same in all plans.
func (m *model) feeds(c *contact) {
	p, beds := m.w.set.plans[0], map[string]bool{}
	_, amps := zonetest.Load(p, c.at)
	flow := 0.0
	for _, o := range m.outs {
		if !o.on {
			continue
		}
		if holding, _ := zonetest.Load(p, o.at); o.at.Controller == c.at.Controller {
			amps += holding
		}
		for i := range p.Zones {
			if z := &p.Zones[i]; z.ID == o.bed && !beds[o.bed] {
				beds[o.bed], flow = true, flow+z.FlowLPH()
			}
		}
	}
	if most := p.Supplies[0].MaxFlowLPH; most > 0 && flow > most*1.000001 {
		m.w.failf("model: %s opens to %.0f L/h, max_flow %.0f", c.at, flow, most)
	}
	for i := range p.Controllers {
		if x := &p.Controllers[i]; x.ID == c.at.Controller && x.VA > 0 && amps*x.Volts > x.VA*1.000001 {
			m.w.failf("model: %s opens to %.1f VA, its transformer has %.1f", c.at, amps*x.Volts, x.VA)
		}
	}
}
