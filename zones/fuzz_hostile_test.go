package zones

import (
	"math"
	"time"
)

// What hostile or broken senders may bring to the room: anything that the decoders of
// the shell let through (their ranges are in daemon/field), and some orders and levels
// that they do not.

// odd gives a number of those that the decoders let through, or none.
func (c *chance) odd(lo, hi float64) float64 {
	return choose(c, math.NaN(), lo, hi, 0, 1.8, 5e-324, math.Copysign(0, -1))
}

func (w *stage) anyPlace() Place {
	if w.dice.roll(4) == 0 {
		return Place{choose(w.dice, "north", "south", "west", ""), w.dice.roll(5), choose(w.dice, "0", "1", "z", "a-long-place-of-a-foreign-source")}
	}
	return choose(w.dice, w.plan.Probes...).Place
}

func (w *stage) anyReading() {
	d := w.dice
	r := &Reading{Place: w.anyPlace(), HasMoisture: d.roll(8) > 0, EC: d.odd(0, 100), Temperature: d.odd(-60, 120), Permittivity: d.odd(0, 200),
		Retained: d.roll(3) == 0, Serial: choose(d, "", "s-1")}
	r.Moisture = choose(d, Level(d.roll(100))*1000, 38000, 0, 100_000, math.MinInt32, math.MaxInt32)
	if d.roll(3) == 0 {
		r.HasTime = true
		r.At = choose(d, time.Duration(1<<28)*time.Second, time.Duration(w.now.Wall.UnixNano()), time.Duration(1<<33-1)*time.Second) + d.span()
	}
	w.step(r)
}

// anyReport is an honest report with some of it changed.
func (w *stage) anyReport() {
	d := w.dice
	r := w.report(choose(d, "north", "south"))
	for range 1 + d.roll(3) {
		w.forge(r)
	}
	w.step(r)
}

func (w *stage) forge(r *Report) {
	d := w.dice
	switch d.roll(9) {
	case 0:
		r.Controller = choose(d, "north", "south", "west")
	case 1:
		r.Boot = choose(d, "b0", "b1", "b2", "other", "")
	case 2:
		r.Uptime += choose(d, -1, 1, time.Duration(0)) * d.span()
	case 3:
		r.Uptime = choose(d, 0, 100*365*day)
	case 4:
		r.Epoch = choose(d, 0, max(r.Epoch, 1)-1, r.Epoch+1, 1<<31-1)
	case 5:
		r.Seq = choose(d, 0, max(r.Seq, 1)-1, r.Seq+1, 1<<31-1)
	case 6:
		r.Retained = true
	case 7:
		if n := len(r.Outputs); n > 0 {
			r.Outputs = r.Outputs[:d.roll(n)]
		}
	case 8:
		if n := len(r.Outputs); n > 0 {
			o := &r.Outputs[d.roll(n)]
			o.Open, o.FlowLPM = d.roll(2) == 0, choose(d, -1, 0, 0.04, 6.5, 1e308)
		}
	}
}

// anyInput is a message that comes once, or a contact that stays as it says.
func (w *stage) anyInput() {
	d := w.dice
	e := &InputState{Controller: choose(d, "north", "south", ""), ID: choose(d, "tank", "floor", "stop", "x"), Active: d.roll(2) == 0, Retained: d.roll(2) == 0}
	w.step(e)
	if d.roll(2) == 0 {
		w.inputs[e.ID] = e.Active
	}
}

func (w *stage) anyOrder() {
	d := w.dice
	w.order++
	kind := Order{}.Kind
	if n := d.roll(len(OrderKinds()) + 1); n > 0 {
		kind = OrderKinds()[n-1]
	}
	names := []string{"", "a", "b", "c", "nowhere", "bay", "room", "feed", "well", "budget", "a0", "north", "north/1/0", "leak", "\x00\xff"}
	w.step(&Order{ID: "o" + itoa(w.order), Kind: kind, Zone: choose(d, names[:5]...), Subject: choose(d, names...),
		For: choose(d, 0, 20*time.Second, -time.Second, time.Hour, 24*time.Hour, 30*day, math.MaxInt64, math.MinInt64),
		// A volume comes as JSON, which knows no NaN and no infinity.
		VolumeML: choose(d, 0, 50, -1, 1e308, 5e-324), Source: choose[Source](d, "socket", "mqtt"), By: "x"})
}
