package daemon

import (
	"slices"

	"rillgate/zones"
)

// named puts the id of the probe that a person named by its id, place or serial number
// into an order. What names none stays: the room says so.
func (d *Daemon) named(o *zones.Order, v *zones.View) {
	for _, word := range []*string{&o.Subject, &o.With} {
		if p := v.Probe(*word); p != nil {
			*word = p.ID
		}
	}
}

// ofProbe reports whether an order is about a probe, and for the register.
func ofProbe(k zones.OrderKind) bool {
	return slices.Contains([]zones.OrderKind{zones.OrderAssign, zones.OrderExchange, zones.OrderLabel, zones.OrderIgnore}, k)
}

// exchange gives the order of an exchange to the room, unless serial numbers speak against
// it, and writes it into the register. Where they say that it is the same probe at another
// place, its offset stays.
func (d *Daemon) exchange(o *zones.Order, v *zones.View) {
	was, is := v.Probe(o.Subject), v.Probe(o.With)
	if o.With == "" {
		is = was
	}
	if was == nil || is == nil || o.With != "" && (is.InFiles || is.ID == was.ID) {
		d.step(o) // the room says why not
		return
	}
	w := d.register.book.Weigh(was.ID, is.Place, silent(is), d.room.Age(d.now))
	if w.Against != "" && !o.Anyway {
		d.refuse(o, was, w.Against+": "+w.Do)
		return
	}
	d.aside = w.Knows
	if w.Against != "" {
		d.aside = "done on your word, though " + w.Against
	}
	o.KeepOffset = o.KeepOffset || w.Same
	d.step(o)
	d.aside = ""
	if !d.accepted(o) {
		return
	}
	d.register.book.Exchanged(was.ID, is.Place, d.now.Wall, o.By, o.Note)
	d.teacher.another(was.ID)
	d.fitRegister(o.By)
	d.register.heard = true
	d.lookAtRegister()
}

// silent reports whether a probe was not heard, or not for so long that its zone holds it
// for stale.
func silent(p *zones.ProbeView) bool {
	return p.AgeSeconds == nil || p.Quality == zones.ProbeStale || p.Quality == zones.ProbeLost
}

// refuse answers an order that does not come to the room.
func (d *Daemon) refuse(o *zones.Order, p *zones.ProbeView, because string) {
	d.entry(d.now.Wall, &zones.Entry{Kind: "order-refused", Zone: o.Zone, Probe: p.ID, Reason: zones.NoReason, Because: string(o.Kind) + ": " + because,
		Order: o.ID, Source: o.Source, By: o.By, Note: o.Note})
	d.answered(&zones.Answer{Order: o.ID, Kind: o.Kind, Subject: o.Subject, Reason: zones.NoReason, Because: because})
	d.changed = true
}

// accepted reports whether the room agreed to the order it was given last.
func (d *Daemon) accepted(o *zones.Order) bool {
	return d.latest.Order == o.ID && d.latest.Kind == o.Kind && d.latest.Accepted
}
