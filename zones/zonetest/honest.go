package zonetest

import (
	"math"
	"time"

	"rillgate/zones"
)

// entry is INV-29: the journal tells how long a run really was.
func (c *Checker) entry(e *zones.Entry) {
	if e.Kind == "soak-ended" {
		c.soakEnded(e)
	}
	r := c.runs[e.Run]
	if e.Kind != "run-closed" || r == nil || !r.started || r.lapsed || r.process != c.process.number {
		return
	}
	for _, at := range r.outputs {
		spent := r.physical[at]
		if o := c.out(at); o.open && o.openRun == r.id {
			spent += c.now.Mono - o.openSince
		}
		if diff := math.Abs(e.Seconds - spent.Seconds()); diff > (c.plan.Lease + offlineTime + tickGap).Seconds() {
			c.breach(29, "the journal gives run %s %.1f s, %s was open %.1f s", r.id, e.Seconds, at, spent.Seconds())
		}
	}
}

// Lapsed tells that an output without a cut-off of its own held on past its deadline:
// how long its run was open on a grant is no longer what the room can know.
func (c *Checker) Lapsed(at zones.Output) {
	if r := c.runs[c.out(at).openRun]; r != nil {
		r.lapsed = true
	}
}

// alarm: a run that a crash cut off has no close of its own in the ledger; the start
// counts it whole, and says so.
func (c *Checker) alarm(a *zones.Alarm) {
	if a.Code != zones.AlarmUnfinishedRun || !a.Active {
		return
	}
	for _, r := range c.runs {
		if r.zone == a.Subject && r.process < c.process.number && r.closes == 0 {
			r.closes++
		}
	}
}

// View is INV-28: what the room says of itself at an instant is true, or says that
// it does not know.
func (c *Checker) View(now zones.Instant, v zones.View) {
	c.now = now
	for i := range v.Valves {
		c.valveView(&v.Valves[i])
	}
	for i := range v.Zones {
		c.zoneView(&v.Zones[i])
	}
}

func (c *Checker) valveView(v *zones.ValveView) {
	o := c.out(v.Output)
	switch v.State {
	case zones.ValveClosed:
		if o.open {
			c.breach(28, "valve %s is shown closed and is open", v.ID)
		}
		if o.granted && !o.ackClosed && c.now.Mono < o.deadline {
			c.breach(28, "valve %s is shown closed, nothing confirms it", v.ID)
		}
	case zones.ValveOpen, zones.ValveMaybeOpen, zones.ValveUnknown, zones.ValveLatched:
	default:
		c.breach(28, "valve %s is shown %q", v.ID, v.State)
	}
}

func (c *Checker) zoneView(v *zones.ZoneView) {
	z := c.zonePlan(v.ID)
	if z == nil {
		c.breach(28, "zone %s is shown, the plan does not have it", v.ID)
		return
	}
	if v.Moisture == nil {
		return
	}
	if n := c.counting(z); n < z.Moisture.Quorum {
		c.breach(28, "zone %s shows %.1f %% with %d probes, quorum %d", v.ID, *v.Moisture, n, z.Moisture.Quorum)
	}
}

// End checks what has to hold when a trace is over: each run that opened a valve
// has one intent and one close, and each order an answer.
func (c *Checker) End() {
	for id, r := range c.runs {
		var spent time.Duration
		for _, d := range r.physical {
			spent += d
		}
		if spent > 0 && r.closes == 0 {
			c.breach(29, "run %s is never closed in the ledger", id)
		}
	}
	for id, o := range c.orders.open {
		c.breach(21, "order %q (%s) is never answered", id, o.Kind)
	}
}
