package zonetest

import (
	"slices"
	"strings"
	"time"

	"rillgate/zones"
)

// orders is what people asked, and what came of it: INV-19, 20, 21.
type orders struct {
	open     map[string]zones.Order // by id, not answered yet
	last     map[zones.OrderKind]time.Duration
	resets   []asked        // the last ones
	shots    map[string]int // accepted shots by hand that have not begun, by zone
	walks    map[string]int // likewise, openings of a walk
	assigned map[zones.Place]string
	moved    map[string]moved    // probes of the files that an exchange took elsewhere, by id
	soaks    map[string]*soaking // those that are on, by zone
}

// moved is where an exchange took a probe, as long as the files name it at `instead`.
type moved struct{ instead, to zones.Place }

// asked is an order and when it came.
type asked struct {
	at    time.Duration // Mono
	order zones.Order
}

// orderEffect is how long after an order its records may come: the ledger answers
// in between.
const orderEffect = 10 * time.Second

func (o *orders) make() {
	if o.open == nil {
		o.open = map[string]zones.Order{}
		o.last = map[zones.OrderKind]time.Duration{}
		o.shots = map[string]int{}
		o.walks = map[string]int{}
		o.assigned = map[zones.Place]string{}
		o.moved = map[string]moved{}
		o.soaks = map[string]*soaking{}
	}
}

func (o *orders) came(now time.Duration, ev *zones.Order) {
	o.make()
	o.open[ev.ID] = *ev
	o.last[ev.Kind] = now
	switch ev.Kind {
	case zones.OrderReset:
		o.resets = append(o.resets, asked{now, *ev})
		o.resets = slices.DeleteFunc(o.resets, func(r asked) bool { return now-r.at > orderEffect })
	case zones.OrderShot:
		o.shots[ev.Zone]++
	case zones.OrderWalk, zones.OrderWalkCut:
		o.walks[ev.Zone]++
	}
}

// forget is a crash: what gives water does not survive it, open questions stay open.
func (o *orders) forget() {
	o.make()
	clear(o.open)
	clear(o.shots)
	clear(o.walks)
	clear(o.soaks)
}

// spend is INV-19, 20 and 21: a shot by hand, or an opening of a walk, has one order behind it.
func (o *orders) spend(c *Checker, r *zones.RunRecord) {
	o.make()
	asked := o.shots
	switch r.Reason {
	case zones.ByHand:
	case zones.Soak:
		o.spendSoak(c, r)
		return
	case zones.Walk:
		asked = o.walks
	default:
		return
	}
	if asked[r.Zone] == 0 {
		c.breach(20, "run %s (%s), but nobody asked for it", r.ID, r.Reason)
		return
	}
	asked[r.Zone]--
}

// answer books the end of an order: each has exactly one answer.
func (c *Checker) answer(a *zones.Answer) {
	c.orders.make()
	o, ok := c.orders.open[a.Order]
	if !ok {
		c.breach(21, "order %q is answered, but was not asked or was answered before", a.Order)
		return
	}
	delete(c.orders.open, a.Order)
	switch {
	case (o.Kind == zones.OrderWalk || o.Kind == zones.OrderWalkCut) && !a.Accepted:
		c.orders.walks[o.Zone] = max(0, c.orders.walks[o.Zone]-1)
	case o.Kind == zones.OrderShot && !a.Accepted:
		c.orders.shots[o.Zone] = max(0, c.orders.shots[o.Zone]-1)
	case a.Accepted && (o.Kind == zones.OrderSoak || o.Kind == zones.OrderHold || o.Kind == zones.OrderStop):
		c.orders.soak(c, &o)
	case o.Kind == zones.OrderAssign && a.Accepted:
		c.assign(&o)
	case o.Kind == zones.OrderAcknowledge && a.Accepted:
		c.afresh(o.Subject)
	case o.Kind == zones.OrderExchange && a.Accepted:
		c.exchange(&o)
	}
}

// exchange books that another probe stands for one: at its place, or where it answers.
// Nothing that was heard so far is its own.
func (c *Checker) exchange(o *zones.Order) {
	c.homes = false
	was, known := c.placeOf(o.Subject)
	is := was
	if o.With != "" {
		is, _ = c.placeOf(o.With)
	}
	if p := c.places[is]; p != nil {
		p.live, p.stamped, p.has = 0, false, false
	}
	if is == was || !known {
		return
	}
	for i := range c.plan.Probes {
		if p := &c.plan.Probes[i]; c.where(p) == was {
			c.orders.moved[p.ID] = moved{p.Place, is}
			return
		}
	}
	c.orders.assigned[is] = c.orders.assigned[was]
	delete(c.orders.assigned, was)
}

// where is the place of a probe of the files.
func (c *Checker) where(p *zones.Probe) zones.Place {
	if len(c.orders.moved) == 0 {
		return p.Place
	}
	m, ok := c.orders.moved[p.ID]
	if ok && m.instead == p.Place {
		return m.to
	}
	delete(c.orders.moved, p.ID) // the files say something else: they lead for good
	return p.Place
}

// placeOf finds a probe by its id in the files, or by its place in words or as an id.
func (c *Checker) placeOf(subject string) (zones.Place, bool) {
	for i := range c.plan.Probes {
		if p := &c.plan.Probes[i]; p.ID == subject || c.where(p).String() == subject {
			return c.where(p), true
		}
	}
	for _, p := range c.atList {
		if p.at.String() == subject || strings.ReplaceAll(p.at.String(), "/", "-") == subject {
			return p.at, true
		}
	}
	return zones.Place{}, false
}

// afresh is a probe that a person took back: what times it had before no longer binds.
func (c *Checker) afresh(subject string) {
	for i := range c.plan.Probes {
		if p := &c.plan.Probes[i]; p.ID == subject && c.places[p.Place] != nil {
			c.places[p.Place].live, c.places[p.Place].stamped = 0, false
		}
	}
}

// assign books where a probe was given by order; its subject is an id or a place.
func (c *Checker) assign(o *zones.Order) {
	c.homes = false
	for i := range c.plan.Probes {
		if p := &c.plan.Probes[i]; p.ID == o.Subject || p.Place.String() == o.Subject {
			c.orders.assigned[p.Place] = o.Zone
			return
		}
	}
	for _, p := range c.atList {
		at := p.at
		if at.String() == o.Subject {
			c.orders.assigned[at] = o.Zone
		}
	}
}
