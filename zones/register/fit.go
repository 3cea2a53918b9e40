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
// id is known no more, else the last that left under that id, or from that place. Where
// there is none, it begins.
func (r *Register) same(p *zones.ProbeView, known map[string]bool, at time.Time, by string) *Life {
	if l := r.byID(p.ID); l != nil {
		return l
	}
	if l := r.at(p.Place); l != nil && !known[l.ID] {
		r.rename(l, p.ID, at, by)
		r.rejoin(l, r.left(func(o *Life) bool { return o.ID == p.ID && o.Place == l.Place }), at)
		return l
	}
	l := r.left(func(l *Life) bool { return l.ID == p.ID })
	if l == nil {
		l = r.left(func(l *Life) bool { return l.Place == p.Place && r.owner(l.Serial) == nil })
	}
	if l != nil {
		l.Gone = false
		r.note(l, Event{At: at, Kind: Back, By: by})
		r.rename(l, p.ID, at, by)
		return l
	}
	return r.begin(p, at, by)
}

func (r *Register) begin(p *zones.ProbeView, at time.Time, by string) *Life {
	l := r.born(p, at)
	if l != nil && p.InFiles {
		r.note(l, Event{At: at, Kind: Listed, To: "named at " + p.Place.String(), By: by})
	}
	return l
}

func (r *Register) rename(l *Life, id string, at time.Time, by string) {
	if l.ID != id {
		r.note(l, Event{At: at, Kind: Renamed, From: l.ID, To: id, By: by})
		l.ID = id
	}
}

// left gives the life that left last of those that are meant, nil for none.
func (r *Register) left(meant func(l *Life) bool) (last *Life) {
	for _, l := range r.lives {
		if l.Gone && meant(l) && (last == nil || l.until().After(last.until())) {
			last = l
		}
	}
	return last
}

// until gives when something happened to it last.
func (l *Life) until() time.Time {
	if n := len(l.Events); n > 0 {
		return l.Events[n-1].At
	}
	return time.Time{}
}

// rejoin makes one life of two of the same probe: what the earlier one, which had left,
// was goes before what the present one is. The earlier one stays as a mark of where it
// went, so that whoever keeps lives forgets it.
func (r *Register) rejoin(l, earlier *Life, at time.Time) {
	if earlier == nil || earlier == l {
		return
	}
	all := slices.Concat(earlier.Events, l.Events)
	slices.SortStableFunc(all, func(a, b Event) int { return a.At.Compare(b.At) })
	if n := len(all) - eventsMost; n > 0 {
		all = slices.Delete(all, 1, 1+n)
	}
	l.Events = all
	if earlier.ID != l.ID {
		r.note(l, Event{At: at, Kind: Renamed, From: earlier.ID, To: l.ID})
	}
	if earlier.Place != l.Place {
		r.note(l, Event{At: at, Kind: Placed, From: earlier.Place.String(), To: l.Place.String()})
	}
	r.changed[l.Key] = true
	r.lives = slices.DeleteFunc(r.lives, func(o *Life) bool { return o == earlier })
	r.joined = append(r.joined, Life{Key: earlier.Key, ID: earlier.ID, Place: earlier.Place, Gone: true, Into: l.Key})
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

// Sentence says an event in words.
func (e Event) Sentence() string {
	s := ""
	switch e.Kind {
	case Met:
		s = "first heard: " + e.To
	case Serial:
		s = "serial number " + or(e.To, "unknown")
		if e.From != "" && e.To != "" {
			s += ", " + e.From + " before"
		}
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
