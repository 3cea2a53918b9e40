// Package zonetest holds what the tests of a room need: the checker of a stream of
// steps against the invariants, and the scenario scripts. It keeps its own books
// from events, effects and contacts alone and shares no code with the core.
package zonetest

import (
	"errors"
	"fmt"
	"time"

	"rillgate/zones"
)

// What a check forgives: the controllers' timers, the second between two ticks.
const (
	slack   = 200 * time.Millisecond
	tickGap = 2 * time.Second
	// timerLate is how late a controller may end a run by itself.
	timerLate = 100 * time.Millisecond
	maxKept   = 20
	bootHold  = 5 * time.Second
	// silentOpen is how long the outputs of a controller that was not heard since
	// the start count as open.
	silentOpen = 2*time.Minute + 2*time.Second
	day        = 24 * time.Hour
	// A close that is confirmed within this time counts from when it was commanded; it
	// may have been on its way for as long.
	confirmTime = 2 * time.Second
	// offlineTime is how long a silent controller is believed: a valve that let go of a
	// grant that got lost is not known to be closed before.
	offlineTime = 15 * time.Second
)

// Checker watches a room from outside: events in, effects out, contacts, views. A
// breach of an invariant is kept with the instant at which it showed.
type Checker struct {
	plan    *zones.Plan
	now     zones.Instant
	began   bool
	errs    []error
	process process
	epoch   uint32 // of the last command
	seq     uint32
	outputs []namedOutput // in the order of their first mention
	ctlList []*controller
	zones   map[string]*zone
	runs    map[string]*run
	active  map[string]*run // of this process, without a close in the ledger
	places  map[zones.Place]*place
	atList  []*place // the same, in the order of their first mention
	latches []latch
	ended   []latch               // by a reset that may not be durable
	holds   map[string]hold       // by zone
	gaveUp  []gaveUp              // since the process began
	maybe   []gaveUp              // may stand, by what the process before had
	homes   bool                  // each place has its zone, as plan and orders are now
	gone    map[zones.Output]left // outputs of valves that left the plan, with their supply
	durable uint64
	leases  []leased // those of the ledger; a crash takes what was not durable
	starts  []time.Duration
	loose   map[uint32]bool // epochs that were used before they were durable
	braked  bool
	brakeAt time.Duration // Mono of the start that put the brake on
	orders  orders
	prev    zones.Event
	prevAt  time.Duration
}

// process is one life of the daemon.
type process struct {
	number   int
	start    time.Duration
	lease    time.Duration // the longer of the plan's and the ledger's
	clean    bool          // a Shutdown came
	unclean  bool          // the one before did not end well
	forgiven bool          // a reset came behind its start
	startAt  uint64        // the record of its start; 0 = durable, and counted
	broker   bool
	failed   time.Duration // Mono of a failed record; 0 = none
	epoch    uint64        // the newest record that took an epoch
}

// NewChecker watches a room that has this plan in force.
func NewChecker(plan *zones.Plan) *Checker {
	return &Checker{
		plan:   plan,
		zones:  map[string]*zone{},
		runs:   map[string]*run{},
		active: map[string]*run{},
		places: map[zones.Place]*place{},
		loose:  map[uint32]bool{},
		gone:   map[zones.Output]left{},
	}
}

// Observe takes one step. A nil event says that a new process began; it did not end
// well unless a Shutdown came before.
func (c *Checker) Observe(now zones.Instant, ev zones.Event, effects []zones.Effect) {
	c.now = now
	c.event(ev)
	for _, e := range effects {
		c.effect(ev, e)
	}
	c.deadlines()
	c.prev, c.prevAt = ev, now.Mono
}

// Stepped and Physical make the checker an observer of a virtual world.
func (c *Checker) Stepped(_ time.Time, now zones.Instant, ev zones.Event, effects []zones.Effect) {
	c.Observe(now, ev, effects)
}

// Err is every breach so far; nil when there was none.
func (c *Checker) Err() error { return errors.Join(c.errs...) }

// breach keeps a violation, up to a number that can be read.
func (c *Checker) breach(inv int, format string, args ...any) {
	if len(c.errs) < maxKept {
		at := c.now.Wall.UTC().Format("2006-01-02T15:04:05.000Z")
		c.errs = append(c.errs, fmt.Errorf("INV-%d at %s: %s", inv, at, fmt.Sprintf(format, args...)))
	}
}

// event books what came in.
func (c *Checker) event(ev zones.Event) {
	switch ev := ev.(type) {
	case nil:
		c.newProcess()
	case *zones.Reading:
		c.reading(ev)
	case *zones.Report:
		c.report(ev)
	case *zones.Status:
		if !ev.Retained && !ev.Online {
			c.ctl(ev.Controller).offline = true
		}
	case *zones.BrokerLink:
		c.process.broker = ev.Up
	case *zones.Recorded:
		c.durable = max(c.durable, ev.Seq)
		c.countStart()
	case *zones.RecordFailed:
		if c.process.failed == 0 {
			c.process.failed = c.now.Mono
		}
	case *zones.Order:
		c.orders.came(c.now.Mono, ev)
	case *zones.NewPlan:
		c.newPlan(ev.Plan)
	case *zones.Shutdown:
		c.process.clean = true
	}
}

// effect checks and books what went out, in order.
func (c *Checker) effect(ev zones.Event, e zones.Effect) {
	switch e := e.(type) {
	case *zones.Command:
		c.command(e)
	case *zones.Record:
		c.record(ev, e)
	case *zones.Answer:
		c.answer(e)
	case *zones.Entry:
		c.entry(e)
	case *zones.Alarm:
		c.alarm(e)
	case *zones.Breach:
		c.breach(0, "the room found %s broken: %s", e.Invariant, e.Detail)
	}
}

// newProcess forgets what a process forgets and counts unclean ends.
func (c *Checker) newProcess() {
	unclean, failed := c.began && !c.process.clean, c.process.failed != 0
	if c.process.startAt != 0 {
		unclean = c.process.unclean // of one whose start was never durable nobody knows
	}
	c.began = true
	c.process = process{
		unclean: unclean,
		number:  c.process.number + 1, start: c.now.Mono, lease: max(c.plan.Lease, c.keptLease()),
	}
	c.homes = false
	for _, p := range c.atList {
		p.live, p.stamped = 0, false
	}
	for _, ctl := range c.ctlList { // which boot is the newest, and which report, it cannot know
		ctl.heard, ctl.reports, ctl.uptime, ctl.last, ctl.shown, ctl.again = false, 0, -1, pair{}, nil, again{}
		clear(ctl.left)
	}
	for _, o := range c.outputs {
		o.confirmed, o.wrongSince = false, 0 // a latch that was not durable is to be found again
	}
	clear(c.active)
	c.orders.forget()
	c.forgetLatches(unclean || failed)
	c.forgetHolds()
}

// newPlan puts a plan in force: running runs may only get shorter by it.
func (c *Checker) newPlan(p *zones.Plan) {
	lease := max(p.Lease, c.plan.Lease)
	c.leave(p)
	c.plan, c.homes = p, false
	for _, r := range c.active {
		z := c.zonePlan(r.zone)
		if z == nil || !r.started {
			continue
		}
		elapsed := c.now.Mono - r.start
		most, _ := limits(z, r.reason)
		r.bound = min(r.bound, max(most, elapsed+lease+tickGap)) // what was granted cannot be called back
	}
	c.orders.keepSoaks(c)
}

func (c *Checker) zonePlan(id string) *zones.Zone {
	for i := range c.plan.Zones {
		if c.plan.Zones[i].ID == id {
			return &c.plan.Zones[i]
		}
	}
	return nil
}
