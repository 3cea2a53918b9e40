package register

import (
	"fmt"
	"slices"
	"time"

	"rillgate/zones"
)

// Fit compares the register with the probes of the room as files and orders have them
// now, and writes every difference into their lives. by is who brought it about.
func (r *Register) Fit(now []zones.ProbeView, at time.Time, by string) {
	known := map[string]bool{}
	for i := range now {
		known[now[i].ID] = true
	}
	for i := range now {
		if l := r.same(&now[i], known, at, by); l != nil {
			r.fit(l, &now[i], at, by)
		}
	}
	for _, l := range r.lives {
		if l.Gone || known[l.ID] || !named(l) && !taken(now, l.Place) {
			continue // who answered unasked may only be silent
		}
		l.Gone = true
		r.note(l, Event{At: at, Kind: Left, By: by})
	}
}

func taken(now []zones.ProbeView, place zones.Place) bool {
	return slices.ContainsFunc(now, func(p zones.ProbeView) bool { return p.Place == place })
}

// same finds the life of a probe of the room: by its id, else the one at its place whose
// id is known no more, else one that left under that id. Where there is none, it begins.
func (r *Register) same(p *zones.ProbeView, known map[string]bool, at time.Time, by string) *Life {
	if l := r.byID(p.ID); l != nil {
		return l
	}
	if l := r.at(p.Place); l != nil && !known[l.ID] {
		r.note(l, Event{At: at, Kind: Renamed, From: l.ID, To: p.ID, By: by})
		l.ID = p.ID
		return l
	}
	if l := r.find(func(l *Life) bool { return l.Gone && l.ID == p.ID }); l != nil {
		l.Gone = false
		r.note(l, Event{At: at, Kind: Back, By: by})
		return l
	}
	l := r.born(p, at)
	if l != nil && p.InFiles {
		r.note(l, Event{At: at, Kind: Listed, To: "named at " + p.Place.String(), By: by})
	}
	return l
}

func (r *Register) fit(l *Life, p *zones.ProbeView, at time.Time, by string) {
	change := func(kind EventKind, have *string, is string) {
		if *have != is {
			r.note(l, Event{At: at, Kind: kind, From: *have, To: is, By: by})
			*have = is
		}
	}
	if l.Place != p.Place {
		r.note(l, Event{At: at, Kind: Placed, From: l.Place.String(), To: p.Place.String(), By: by})
		l.Place, l.Serial, l.Heard = p.Place, r.heardAt(p.Place), false
	}
	if l.InFiles != p.InFiles {
		l.InFiles = p.InFiles
		r.note(l, Event{At: at, Kind: Listed, To: map[bool]string{true: "named at " + p.Place.String(), false: "named no more"}[p.InFiles], By: by})
	}
	change(Given, &l.Zone, p.Zone)
	change(Labelled, &l.Label, p.Label)
	if l.Offset != p.Offset {
		r.note(l, Event{At: at, Kind: Offset, From: pointsOf(l.Offset), To: pointsOf(p.Offset), By: by})
		l.Offset = p.Offset
	}
}

func pointsOf(x float64) string { return fmt.Sprintf("%.1f points", x) }

// heardAt gives the serial number that answers at a place, "" while that is not sure.
func (r *Register) heardAt(place zones.Place) string {
	if s := r.spots[place]; s != nil && s.serial.sure() {
		return s.serial.now
	}
	return ""
}

// Same reports whether the probe that answers at a place is, by its serial number, the
// one that stands for an id.
func (r *Register) Same(id string, place zones.Place) bool {
	l, s := r.byID(id), r.spots[place]
	return l != nil && s != nil && l.Serial != "" && s.serial.now == l.Serial && l.Place != place
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
		other.Gone = true
		r.note(other, Event{At: at, Kind: Left, To: "stands for " + id, By: by})
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

// Sentence says an event in words.
func (e Event) Sentence() string {
	s := ""
	switch e.Kind {
	case Met:
		s = "first heard: " + e.To
	case Serial:
		s = "serial number " + e.To
	case Left:
		s = "known no more"
		if e.To != "" {
			s = "known no more by itself: it " + e.To
		}
	case Back:
		s = "known again"
	case Listed:
		s = "room.yaml: " + e.To
	case Exchange:
		s = "exchanged: " + e.To + " for " + e.From
	default:
		s = string(e.Kind) + ": " + or(e.From, "none") + " -> " + or(e.To, "none")
	}
	for _, extra := range []string{by(e.By), e.Note} {
		if extra != "" {
			s += ", " + extra
		}
	}
	return s
}

func by(who string) string {
	if who == "" {
		return ""
	}
	return "by " + who
}

func or(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

// Newest gives the last n events of a life, oldest first.
func (l Life) Newest(n int) []Event { return slices.Clone(l.Events[max(0, len(l.Events)-n):]) }
