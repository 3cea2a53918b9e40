package zonetest

import (
	"strconv"
	"strings"
	"time"

	"rillgate/schedule"
	"rillgate/zones"
)

func itoa(n int) string { return strconv.Itoa(n) }

// reading books a live reading with moisture. Where readings carry times, only one
// whose time advanced is news.
func (c *Checker) reading(r *zones.Reading) {
	if r.Retained || !r.HasMoisture {
		return
	}
	p := c.places[r.Place]
	if p == nil {
		p = &place{at: r.Place}
		c.places[r.Place] = p
		c.atList, c.homes = append(c.atList, p), false
	}
	if r.HasTime && p.stamped && r.At <= p.stamp {
		return
	}
	p.stamp, p.stamped = r.At, r.HasTime
	if p.has && c.now.Mono-p.last > c.staleAfter(r.Place) {
		p.live = 0
	}
	p.live++
	p.last, p.value, p.has = c.now.Mono, r.Moisture, true
}

// staleAfter is the staleness of the zone that a place is in.
func (c *Checker) staleAfter(at zones.Place) time.Duration {
	if z := c.zonePlan(c.zoneAt(at)); z != nil {
		return z.Moisture.StaleAfter
	}
	return time.Hour
}

// zoneAt is the zone that a place is given to: by the files, which lead, or by an order.
func (c *Checker) zoneAt(at zones.Place) string {
	for i := range c.plan.Probes {
		if p := &c.plan.Probes[i]; p.Zone != "" && c.where(p) == at {
			return p.Zone
		}
	}
	return c.orders.assigned[at]
}

// counting is how many probes of a zone can count at most: registered, live, fresh
// and within what the zone calls plausible.
func (c *Checker) counting(z *zones.Zone) int {
	if !c.homes {
		c.homes = true
		for _, p := range c.atList {
			p.zone = c.zoneAt(p.at)
		}
	}
	n := 0
	for _, p := range c.atList {
		fresh := p.has && c.now.Mono-p.last <= z.Moisture.StaleAfter+slack
		plausible := p.value >= z.Moisture.PlausibleLo && p.value <= z.Moisture.PlausibleHi
		if p.live >= 2 && fresh && plausible && p.zone == z.ID {
			n++
		}
	}
	return n
}

// needsEvidence reports whether probes have to speak for a run.
func (c *Checker) needsEvidence(r *run, z *zones.Zone) bool {
	switch r.reason {
	case zones.BelowThreshold, zones.DriedBack, zones.ToLevel:
		return true
	case zones.TimedShot:
		w := window(z, r.instance)
		return w != nil && !w.WithoutProbes && c.hasProbes(z.ID)
	}
	return false
}

func (c *Checker) hasProbes(zone string) bool {
	for i := range c.plan.Probes {
		if c.plan.Probes[i].Zone == zone {
			return true
		}
	}
	return false
}

// evidence is INV-7: each grant that moisture speaks for has its quorum.
func (c *Checker) evidence(cmd *zones.Command, r *run) {
	z := c.zonePlan(r.zone)
	if z == nil || !c.needsEvidence(r, z) {
		return
	}
	if n := c.counting(z); n < z.Moisture.Quorum {
		c.breach(7, "grant on %s for run %s (%s) with %d probes, quorum %d", cmd.Output, r.id, r.reason, n, z.Moisture.Quorum)
	}
}

// lostQuorum is INV-8: a run that lost its quorum is closed within two seconds.
func (c *Checker) lostQuorum() {
	for _, r := range c.active {
		z := c.zonePlan(r.zone)
		if z == nil || !c.running(r) || !c.needsEvidence(r, z) {
			continue
		}
		books := c.zone(r.zone)
		if c.counting(z) >= z.Moisture.Quorum {
			books.lostSince = 0
			continue
		}
		if books.lostSince == 0 {
			books.lostSince = c.now.Mono
		}
		if c.now.Mono-books.lostSince > tickGap {
			c.breach(8, "run %s goes on %s after its probes were lost", r.id, c.now.Mono-books.lostSince)
		}
	}
}

// running reports whether a run was begun in this process and not told to close,
// and may still be open.
func (c *Checker) running(r *run) bool {
	if !r.started || r.closing || r.closes > 0 || r.process != c.process.number {
		return false
	}
	for _, at := range r.outputs {
		if o := c.out(at); o.openRun == r.id && o.granted && c.now.Mono < o.deadline {
			return true
		}
	}
	return false
}

// window finds the window of an instance among a zone's own list; nil for crops,
// whose numbers change by the day.
func window(z *zones.Zone, instance string) *schedule.Window {
	_, name, ok := strings.Cut(instance, "/")
	if !ok {
		return nil
	}
	for i := range z.Schedule.Windows {
		if z.Schedule.Windows[i].Name == name {
			return &z.Schedule.Windows[i]
		}
	}
	return nil
}

// windowRest is the rest that the run's own window asks for.
func (c *Checker) windowRest(z *zones.Zone, r *run) time.Duration {
	if w := window(z, r.instance); w != nil && scheduled(r.reason) && z.Schedule.Scale.Rest == 0 {
		return w.Rest
	}
	return 0
}
