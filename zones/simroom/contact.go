package simroom

import (
	"time"

	"rillgate/zones"
)

// Contact tells whether an output holds current now, and the instant at which the
// grant that it acted on runs out by its controller's clock, whether or not it then
// drops by itself; 0 when no grant is in force.
func (r *Room) Contact(at zones.Output) (on bool, until time.Duration) {
	return r.Coil(at).Contact()
}

// Coil is one output of a room, for who asks for its contact often.
type Coil struct {
	c *controller
	o *output
}

// Coil finds an output; one that the plan has not never holds current.
func (r *Room) Coil(at zones.Output) Coil {
	c := r.controller(at.Controller)
	if c == nil {
		return Coil{}
	}
	return Coil{c, c.output(at.Number)}
}

// Contact is Room.Contact of this output.
func (k Coil) Contact() (on bool, until time.Duration) {
	if k.o == nil {
		return false, 0
	}
	if k.o.on {
		until = k.c.instant(k.o.until)
	}
	return k.o.energised(), until
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
