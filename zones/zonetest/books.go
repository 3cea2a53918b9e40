package zonetest

import (
	"slices"
	"time"

	"rillgate/zones"
)

// interval is a stretch of Mono in which a contact was on.
type interval struct {
	from, to time.Duration
	run      string
}

// namedOutput is an output with its name.
type namedOutput struct {
	at zones.Output
	*output
}

// output is what the checker knows of one controller output.
type output struct {
	epoch, seq uint32        // of the last command
	commanded  bool          // open
	firstEpoch uint32        // epoch of the last first command
	closeAt    pair          // pair of the last close
	toldAt     time.Duration // Mono of it
	lastClose  pair          // pair of the close that was said last
	toldBy     int           // the process that said it
	openRun    string
	deadline   time.Duration // Mono at which the last grant ends
	late       time.Duration // what a controller's clock that runs off makes of that moment
	granted    bool          // a grant was given and not confirmed closed
	confirmed  bool          // closed was reported under our epoch in this process
	ackClosed  bool          // closed was reported at or past the last close
	reported   bool          // shows open in the newest report
	wrongSince time.Duration // first report with our close that shows it open; 0 = none
	heldOn     bool          // reported open past its last grant
	wrongLast  time.Duration // when the last one came
	wrongFrom  time.Duration // the controller's uptime in the first and the last of them
	wrongTo    time.Duration
	open       bool // the contact
	openSince  time.Duration
	perDay     time.Duration // the highest limit of a day that any other run of it began under
	soakPerDay time.Duration // the highest limit of a day that a soak of it began under: its zone may have another name since
	intervals  []interval
}

type pair struct{ epoch, seq uint32 }

func (p pair) before(q pair) bool { return p.epoch < q.epoch || p.epoch == q.epoch && p.seq < q.seq }

// controller is what the checker knows of one room controller.
type controller struct {
	id      string
	boot    string
	left    map[string]bool
	uptime  time.Duration // in the newest report
	arrived time.Duration // its Mono
	last    pair          // epoch and seq in it
	shown   []zones.OutputReport
	reports int // of this boot in this process
	offline bool
	heard   bool
	again   again
}

// again is a boot that was taken for ended and speaks on.
type again struct {
	boot        string
	since, last time.Duration // Mono of the first and the newest of its reports in a row
	uptime      time.Duration // in the newest
	offset      time.Duration // uptime less Mono of the first
}

const (
	silentFor   = 15 * time.Second        // no report for so long: a controller is offline
	clocksApart = 1100 * time.Millisecond // what reports of one boot may be off by
)

// goesOn reports whether a boot that was taken for ended has outlived the one that was taken
// for newer: that one is silent, and this one speaks for as long.
func (x *controller) goesOn(r *zones.Report, now time.Duration) bool {
	a, offset := &x.again, r.Uptime-now
	switch {
	case a.boot != r.Boot || now-a.last > 2*silentFor || offset > a.offset+clocksApart:
		*a = again{boot: r.Boot, since: now, offset: offset}
	case r.Uptime <= a.uptime || offset < a.offset-clocksApart:
		return false // repeated, or late
	}
	a.last, a.uptime = now, r.Uptime
	return (x.offline || now-x.arrived >= silentFor) && now-a.since >= silentFor
}

// zone is what the checker knows of one zone.
type zone struct {
	closed    time.Duration // last moment at which a contact was on
	ran       bool
	lostSince time.Duration // quorum lost; 0 = not
	shots     map[string]int
	given     map[string]bool // instance and shot number
	maxPerDay time.Duration   // the highest that was in force
}

// run is one run, from its intent on.
type run struct {
	id       string
	zone     string
	outputs  []zones.Output
	length   time.Duration
	perDay   time.Duration // what the zone might have in 24 h when it was meant
	bound    time.Duration // the length, less what a plan took away
	reason   zones.Reason
	instance string
	shot     int
	seq      uint64
	process  int
	started  bool
	start    time.Duration
	base     map[zones.Output]time.Duration // uptime at the first grant
	charge   time.Duration
	closes   int
	closing  bool // a close was commanded
	lapsed   bool // its valve held on past a deadline
	physical map[zones.Output]time.Duration
}

// place is what the checker knows of one probe's place.
type place struct {
	at      zones.Place
	zone    string // while homes hold
	live    int    // live readings in a row since the start or a loss
	last    time.Duration
	stamp   time.Duration
	stamped bool
	value   zones.Level
	has     bool
}

func (c *Checker) out(o zones.Output) *output {
	for i := range c.outputs {
		if x := &c.outputs[i]; x.at.Number == o.Number && x.at.Controller == o.Controller {
			return x.output
		}
	}
	x := &output{}
	c.outputs = append(c.outputs, namedOutput{o, x})
	return x
}

func (c *Checker) ctl(id string) *controller {
	for _, x := range c.ctlList {
		if x.id == id {
			return x
		}
	}
	x := &controller{id: id, left: map[string]bool{}}
	c.ctlList = append(c.ctlList, x)
	return x
}

func (c *Checker) zone(id string) *zone {
	x := c.zones[id]
	if x == nil {
		x = &zone{shots: map[string]int{}, given: map[string]bool{}}
		c.zones[id] = x
	}
	return x
}

// uptimeNow reckons a controller's uptime from its newest report.
func (c *Checker) uptimeNow(id string) time.Duration {
	x := c.ctl(id)
	return x.uptime + c.now.Mono - x.arrived
}

// valve finds the valve on an output; nil for a master's.
func (c *Checker) valve(o zones.Output) *zones.Valve {
	for i := range c.plan.Valves {
		if c.plan.Valves[i].Output == o {
			return &c.plan.Valves[i]
		}
	}
	return nil
}

// zoneOf finds the zone that a valve waters; nil when none does.
func (c *Checker) zoneOf(valve string) *zones.Zone {
	for i := range c.plan.Zones {
		for _, v := range c.plan.Zones[i].Valves {
			if v == valve {
				return &c.plan.Zones[i]
			}
		}
	}
	return nil
}

// supply finds a supply; a plan without any has one with a single valve open.
func (c *Checker) supply(id string) zones.Supply {
	for i := range c.plan.Supplies {
		if c.plan.Supplies[i].ID == id {
			return c.plan.Supplies[i]
		}
	}
	return zones.Supply{ID: id, MaxOpen: 1}
}

// report books a controller's report, as far as it is news.
func (c *Checker) report(r *zones.Report) {
	x := c.ctl(r.Controller)
	if r.Retained || r.Boot == x.boot && x.heard && r.Uptime < x.uptime || x.left[r.Boot] && !x.goesOn(r, c.now.Mono) {
		return
	}
	delete(x.left, r.Boot)
	if x.heard && r.Boot == x.boot && r.Uptime == x.uptime && !x.last.before(pair{r.Epoch, r.Seq}) && slices.EqualFunc(r.Outputs, x.shown, sameShown) {
		return // the same again; other outputs in the same millisecond have dropped at their deadline
	}
	x.shown = append(x.shown[:0], r.Outputs...)
	x.last = pair{r.Epoch, r.Seq}
	if r.Boot != x.boot && x.boot != "" {
		if x.heard { // in this process
			x.left[x.boot] = true
		}
		x.reports = 0
		c.rebooted(r.Controller)
	}
	if x.reports == 0 { // a close that was given before it was heard proves nothing: it is said again
		for _, o := range c.outputs {
			if o.at.Controller == r.Controller {
				o.wrongSince = 0
			}
		}
	}
	x.boot, x.uptime, x.arrived, x.heard, x.offline = r.Boot, r.Uptime, c.now.Mono, true, false
	x.reports++
	for _, o := range r.Outputs {
		c.shown(x, zones.Output{Controller: r.Controller, Number: o.Number}, r, o)
	}
}

func sameShown(a, b zones.OutputReport) bool {
	return a.Number == b.Number && a.Open == b.Open && a.FlowLPM == b.FlowLPM
}

// rebooted: what a new boot has not confirmed is not confirmed.
func (c *Checker) rebooted(id string) {
	for _, o := range c.outputs {
		if o.at.Controller == id {
			o.confirmed = false
			o.granted = false // a grant for the boot before opens nothing
			o.wrongSince = 0
		}
	}
}

// flowing is a flow that no meter shows at rest, L/min.
const flowing = 0.5

// shown books what a report says of one output.
func (c *Checker) shown(x *controller, at zones.Output, r *zones.Report, rep zones.OutputReport) {
	o := c.out(at)
	o.reported = rep.Open
	o.heldOn = o.heldOn || rep.Open && c.now.Mono > o.deadline
	acted := pair{r.Epoch, r.Seq}
	carries := !o.commanded && o.closeAt != (pair{}) && !acted.before(o.closeAt)
	if carries && !rep.Open {
		o.ackClosed, o.granted = true, false
	}
	if carries && r.Epoch == c.epoch && !rep.Open {
		o.confirmed = true
	}
	// What another gateway opened is told by its epoch, not taken for a stuck valve.
	// A process whose start is not durable yet has told nothing to close, nor one that takes
	// another epoch.
	wrong := carries && c.process.epoch <= c.durable && x.reports > 1 && r.Epoch == c.epoch && o.toldBy == c.process.number && !acted.before(o.lastClose) && (rep.Open || rep.FlowLPM > flowing && c.alone(at))
	switch {
	case !wrong && (!rep.Open || o.commanded):
		o.wrongSince = 0
	case !wrong: // it carries an earlier close
	case o.wrongSince == 0 || c.now.Mono-o.wrongLast > offlineTime: // what lies in between nobody saw
		o.wrongSince, o.wrongFrom, o.wrongTo = c.now.Mono, r.Uptime, r.Uptime
	default:
		o.wrongTo = r.Uptime
	}
	if wrong {
		o.wrongLast = c.now.Mono
	}
}

// alone reports whether no other output of the room is commanded open, so that a
// flow can only be this one's.
func (c *Checker) alone(at zones.Output) bool {
	for _, o := range c.outputs {
		if o.at != at && !c.healthy(o.at) && (o.commanded || o.granted) {
			return false
		}
	}
	return true
}
