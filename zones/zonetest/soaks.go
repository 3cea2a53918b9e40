package zonetest

import (
	"time"

	"rillgate/zones"
)

// soaking is a soak that a person asked for and that is on.
type soaking struct {
	since time.Duration
	whole time.Duration // valve time of its volume, by our own reckoning
	runs  []*run
}

// soakLasts is how long after its order a soak may begin runs.
const soakLasts = 24 * time.Hour

// soak books what an order means for a zone's soak: it begins or ends it.
func (o *orders) soak(c *Checker, e *zones.Order) {
	switch {
	case e.Zone == "": // a stop of the room
		clear(o.soaks)
	case e.Kind != zones.OrderSoak || e.Subject == zones.SoakEnd:
		delete(o.soaks, e.Zone)
	default:
		z := c.zonePlan(e.Zone)
		if z == nil || z.Limits.Soak == nil {
			c.breach(19, "a soak of zone %q is accepted, which the plan does not allow", e.Zone)
			return
		}
		perSecond := z.EmittersEach * z.EmitterLPH / 3.6 // mL a plant
		o.soaks[e.Zone] = &soaking{since: c.now.Mono, whole: time.Duration(e.VolumeML / perSecond * float64(time.Second))}
	}
}

// spendSoak is INV-19 and 20: each run of a soak has an order behind it that is not over
// yet, all of them give no more than it asked for, and they come to an end.
func (o *orders) spendSoak(c *Checker, r *zones.RunRecord) {
	s := o.soaks[r.Zone]
	if s == nil {
		c.breach(20, "run %s of a soak, but none was asked for, or it is over", r.ID)
		return
	}
	total := r.Length
	for _, run := range s.runs {
		longest := time.Duration(0)
		for _, d := range run.physical {
			longest = max(longest, d)
		}
		total += longest
	}
	if total > s.whole*201/200+slack+time.Duration(len(s.runs))*timerLate {
		c.breach(19, "the soak of %s comes to %s by run %s, %s were asked for", r.Zone, total, r.ID, s.whole)
	}
	if c.now.Mono-s.since > soakLasts {
		c.breach(19, "run %s begins %s after its soak was asked for", r.ID, c.now.Mono-s.since)
	}
	s.runs = append(s.runs, c.runs[r.ID])
}

// keepSoaks ends those that a new plan does not allow.
func (o *orders) keepSoaks(c *Checker) {
	for id := range o.soaks {
		if z := c.zonePlan(id); z == nil || z.Limits.Soak == nil {
			delete(o.soaks, id)
		}
	}
}

// soakEnded books the end of a soak, which says truly how long it watered.
func (c *Checker) soakEnded(e *zones.Entry) {
	c.orders.make()
	s := c.orders.soaks[e.Zone]
	delete(c.orders.soaks, e.Zone)
	if e.Reason == "" || e.Reason == zones.NoReason {
		c.breach(29, "the soak of %s ends without a reason", e.Zone)
	}
	if s != nil && e.Seconds > s.whole.Seconds()*1.005+1 {
		c.breach(29, "the journal gives the soak of %s %.1f s, %s were asked for", e.Zone, e.Seconds, s.whole)
	}
}

// isSoak reports whether a run belongs to a soak.
func (c *Checker) isSoak(run string) bool {
	r := c.runs[run]
	return r != nil && r.reason == zones.Soak
}

// limits gives how long a run of the zone for that reason may be, and all of them in any
// 24 h.
func limits(z *zones.Zone, why zones.Reason) (run, day time.Duration) {
	switch {
	case why != zones.Soak:
		return z.Limits.MaxRun, z.Limits.MaxPerDay
	case z.Limits.Soak == nil:
		return 0, 0
	}
	return z.Limits.Soak.MaxRun, z.Limits.Soak.MaxPerDay
}

// most keeps the highest limit of a day that was in force.
func (z *zone) most(why zones.Reason, d time.Duration) {
	if why != zones.Soak {
		z.maxPerDay = max(z.maxPerDay, d)
	}
}
