package daemon

import (
	"context"
	"slices"
	"time"

	"rillgate/daemon/operator"
	"rillgate/store"
	"rillgate/zones"
)

// linesShown is how many lines of the journal a probe's Why shows.
const linesShown = 6

// Witness is a room that can be asked what its judgement rests on.
type Witness interface {
	ValveEvidence(name string, now zones.Instant) (zones.ValveEvidence, bool)
	ProbeEvidence(name string, now zones.Instant) (zones.ProbeEvidence, bool)
	Location() *time.Location
}

// Evidence gives what a Why of a valve or a probe rests on. Only a look at the room is
// the loop's.
func (d *Daemon) Evidence(ctx context.Context, kind, name string) (*operator.Evidence, error) {
	var e *operator.Evidence
	var lines []operator.Line
	id, zone := name, ""
	err := d.post(ctx, func() {
		var place zones.Place
		e = &operator.Evidence{Now: d.now.Wall}
		if w, ok := d.room.(Witness); ok { // the loop's own tests have rooms that know nothing
			e = EvidenceOf(w, d.now, kind, name)
		}
		id, zone, place = OfWhat(d.room.View(d.now), kind, name)
		lines = d.trail.recent(0, trailKept)
		if p, met := d.register.known[place]; met {
			e.First, e.Last = p.FirstSeen, p.LastSeen
		}
	})
	if err != nil {
		return nil, err
	}
	wanted := LinesWanted(kind, id, Through(e, zone)...)
	for i := range lines {
		if wanted(&lines[i].Entry) {
			e.Lines = append(e.Lines, lines[i])
		}
	}
	if len(e.Lines) == 0 && d.files.store != nil {
		e.Lines = KeptLines(d.files.store, wanted)
	}
	e.Lines = NewestOf(kind, e.Lines)
	return e, nil
}

// EvidenceOf asks a room for what it knows of a valve or a probe.
func EvidenceOf(room Witness, now zones.Instant, kind, name string) *operator.Evidence {
	e := &operator.Evidence{Now: now.Wall.In(room.Location())}
	if kind == "valve" || kind == "output" {
		if got, ok := room.ValveEvidence(name, now); ok {
			e.Valve = &got
		}
	} else if got, ok := room.ProbeEvidence(name, now); ok {
		e.Probe = &got
	}
	return e
}

// OfWhat gives id and zone of a valve, or id, zone and place of a probe, by its id or its
// place; a name that is neither comes back as it is.
func OfWhat(v zones.View, kind, name string) (id, zone string, place zones.Place) {
	if kind == "output" {
		return name, "", place
	}
	if kind == "valve" {
		for i := range v.Valves {
			if v.Valves[i].ID == name {
				return name, v.Valves[i].Zone, place
			}
		}
		return name, "", place
	}
	if p := v.Probe(name); p != nil {
		return p.ID, p.Zone, p.Place
	}
	return name, "", place
}

// Through gives the zones whose runs go through a valve: its own, or of a master all of
// its supply.
func Through(e *operator.Evidence, zone string) []string {
	switch {
	case e.Valve != nil && e.Valve.Master:
		return e.Valve.Serves
	case zone == "":
		return nil
	}
	return []string{zone}
}

// LinesWanted says which lines of the journal are of a valve (the runs of the zones that
// it waters), a probe or the healthy output.
func LinesWanted(kind, name string, of ...string) func(*zones.Entry) bool {
	if kind == "valve" {
		return func(e *zones.Entry) bool {
			return (e.Kind == "run-opened" || e.Kind == "run-closed") && slices.Contains(of, e.Zone)
		}
	}
	if kind == "output" {
		return func(e *zones.Entry) bool { return e.Kind == "healthy" || e.Kind == "healthy-dropped" }
	}
	return func(e *zones.Entry) bool { return e.Probe == name && name != "" }
}

// KeptLines gives the newest lines of a store that are wanted.
func KeptLines(s *store.Store, wanted func(*zones.Entry) bool) []operator.Line {
	kept, _ := s.JournalTail(linesShown, func(e *store.JournalEntry) bool { return wanted(&e.Entry) }) // what cannot be read is not shown
	return linesOf(kept)
}

// NewestOf leaves of a valve's lines those of the last run, of a probe's the newest.
func NewestOf(kind string, lines []operator.Line) []operator.Line {
	if kind == "valve" && len(lines) > 0 {
		run := lines[len(lines)-1].Run
		return slices.DeleteFunc(lines, func(l operator.Line) bool { return l.Run != run })
	}
	return lines[max(0, len(lines)-linesShown):]
}
