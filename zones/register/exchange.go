package register

import (
	"fmt"
	"time"

	"rillgate/zones"
)

// Weighed is what the register knows of an exchange before it is done.
type Weighed struct {
	Same    bool   // by its serial number it is the same probe, at another place
	Against string // why it cannot be so; "" = nothing is known against it
	Do      string // with Against: what is to be done instead
	Knows   string // what is known of the new one, to be said with the answer
}

// Weigh says what the register knows of an exchange: whether another probe than the one
// that stands for an id answers at a place, its own or another. silent says that nothing
// answers there at an age of the room.
func (r *Register) Weigh(id string, place zones.Place, silent bool, age time.Duration) Weighed {
	l, s := r.byID(id), r.spots[place]
	if l == nil {
		return Weighed{}
	}
	if s == nil {
		s = &spot{}
	}
	is, here := s.serial.now, place == l.Place
	o := r.owner(is)
	switch {
	case silent:
		return Weighed{Against: fmt.Sprintf("nothing answers at %s", place), Do: "plug the new one in first, and wait until `rillgate probes` shows a reading of it"}
	case here && l.Serial != "" && is == "":
		return Weighed{Against: fmt.Sprintf("%s is %s, and what answers at %s has told no serial number since the gateway started", id, l.Serial, place), Do: "wait for one; " + tellsNone(id)}
	case is != "" && !s.serial.sure() && s.serial.alternates(age):
		return Weighed{Against: fmt.Sprintf("%s and %s answer by turns at %s", s.serial.before, is, place),
			Do: fmt.Sprintf("take the old one off the line, and wait for %d readings of the new one", sureAfter)}
	case here && l.Serial != "" && is == l.Serial:
		return Weighed{Against: fmt.Sprintf("%s still answers at %s, and that is %s already", is, place, id), Do: "plug the new one in first, and wait for its reading; " + tellsNone(id)}
	case o != nil && named(o) && o != l && o.Place != place:
		return Weighed{Against: fmt.Sprintf("%s, which answers at %s, is %s of %s", is, place, o.ID, o.Place), Do: "put it back to its own place; if it is to stay as " + id + ", add --anyway"}
	}
	return Weighed{Same: !here && l.Serial != "" && is == l.Serial, Knows: known(l, is)}
}

func tellsNone(id string) string {
	return fmt.Sprintf("if the new one has no serial number of its own, or says the same, `rillgate exchange %s --anyway`", id)
}

// known says what serial numbers tell of an exchange that nothing speaks against.
func known(l *Life, is string) string {
	switch {
	case is == "":
		return "no serial number tells whether it is another probe: that is your word"
	case l.Serial == "":
		return fmt.Sprintf("it is %s; the one before told no serial number", is)
	case is == l.Serial:
		return fmt.Sprintf("it is the same probe as before, %s", is)
	}
	return fmt.Sprintf("it is %s, in the place of %s", is, l.Serial)
}

// Exchanged writes down that another probe stands for an id: what answers at its place,
// or, with another place, what answers there. It comes before the Fit that sees it.
func (r *Register) Exchanged(id string, place zones.Place, at time.Time, by, note string) {
	l := r.byID(id)
	if l == nil {
		return
	}
	e := Event{At: at, Kind: Exchange, From: titled(l.Serial, l.Place), By: by, Note: note}
	was, serial := l.Serial, ""
	if s := r.spots[place]; s != nil {
		serial = s.serial.now
	}
	if serial == was && place == l.Place {
		serial = "" // the new one was not heard yet, as far as its number tells
	}
	if other := r.at(place); other != nil && other != l {
		other.Gone, other.Serial = true, ""
		r.note(other, Event{At: at, Kind: Left, To: "stands for " + id, By: by})
	}
	if o := r.owner(serial); o != nil && o != l {
		o.Serial, o.Heard = "", false // what answers there next is met anew
		r.note(o, Event{At: at, Kind: Serial, From: serial, To: "", By: by, Note: serial + " stands for " + id})
	}
	l.Place, l.Serial, l.Heard = place, serial, false
	e.To = titled(serial, place)
	r.note(l, e)
	delete(r.spots, place)
	delete(r.serials, was)
	delete(r.serials, serial)
}

func titled(serial string, place zones.Place) string {
	if serial == "" {
		return place.String()
	}
	return serial + " at " + place.String()
}
