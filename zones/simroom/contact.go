package simroom

import (
	"time"

	"rillgate/zones"
)

// Contact tells whether an output holds current now, and the instant at which the
// grant that it acted on runs out by its controller's clock, whether or not it then
// drops by itself; 0 when no grant is in force.
func (r *Room) Contact(at zones.Output) (on bool, until time.Duration) {
	c := r.controller(at.Controller)
	if c == nil {
		return false, 0
	}
	o := c.output(at.Number)
	if o == nil {
		return false, 0
	}
	if o.on {
		until = c.instant(o.until)
	}
	return o.energised(), until
}

// Boot gives the boot and the uptime (ms) of a controller; ok is false for one the
// plan has not.
func (r *Room) Boot(id string) (boot string, uptime int64, ok bool) {
	c := r.controller(id)
	if c == nil {
		return "", 0, false
	}
	return c.boot, c.uptime(r.now), true
}
