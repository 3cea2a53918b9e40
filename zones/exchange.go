package zones

import (
	"strconv"
	"unicode"
	"unicode/utf8"
)

// labelMost bounds a label, in characters; room.yaml knows the same bound.
const labelMost = 64

// orderAssign gives a probe to a zone that no file gives to one.
func (r *Room) orderAssign(e *Order) {
	p := r.probeByID(e.Subject)
	z := r.zoneBy[e.Zone]
	switch {
	case p == nil:
		r.answer(e, false, NoReason, r.noProbe(e.Subject))
	case z == nil:
		r.answer(e, false, NoReason, sprintf("no zone %q; %s", e.Zone, r.zonesWords()))
	case p.inFiles && p.zone != z:
		r.answer(e, false, NoReason, "room.yaml names this probe, and it leads: change its zone there, then `rillgate apply`")
	case e.Label != "" && !isLabel(e.Label):
		r.answer(e, false, NoReason, badLabel)
	default:
		m := r.probeMemory(p)
		m.ID, m.Zone = p.id, z.id
		if e.Label != "" {
			m.Label = e.Label
		}
		r.remember(p.place, m, nil)
		r.answer(e, true, NoReason, r.assigned(r.probeBy[p.place]))
	}
}

// assigned says what an assignment did, with the line for the files.
func (r *Room) assigned(p *probe) string {
	if p.inFiles {
		return sprintf("room.yaml gives %s to %s, and the register now too", p.id, p.zone.id)
	}
	return sprintf("%s counts for %s from its second reading on; into room.yaml, under `probes` of terminal %d of %s, goes: %s",
		p.id, p.zone.id, p.place.Terminal, p.place.Controller, ProbeLine(p.id, p.place, p.zone.id, p.label))
}

// ProbeLine is a probe as room.yaml names it under its terminal.
func ProbeLine(id string, at Place, zone, label string) string {
	where := at.key()
	if zone != "" {
		where += ", zone: " + zone
	}
	if label != "" {
		where += ", label: " + strconv.Quote(label)
	}
	return "- {id: " + id + ", " + where + "}"
}

// key is a place as a probe's line names it.
func (p Place) key() string {
	if p.Terminal == 0 {
		return "place: " + strconv.Quote(p.Address)
	}
	return "address: " + strconv.Quote(p.Address)
}

// LineMoves says how the line of a probe in room.yaml changes when the probe is at another
// place. Cable, label and all else of the line stay.
func LineMoves(from, to Place) string {
	if from.Controller == to.Controller && from.Terminal == to.Terminal {
		return sprintf("in its line `%s` becomes `%s`", from.key(), to.key())
	}
	where := "among the probes of " + to.Controller
	if to.Terminal != 0 {
		where = sprintf("under terminal %d of %s", to.Terminal, to.Controller)
	}
	return sprintf("its line goes %s, with `%s` for `%s`", where, to.key(), from.key())
}

// remember keeps what an order said of a place and fits the probes anew.
func (r *Room) remember(place Place, m ProbeMemory, was *Place) {
	r.record(&Record{Kind: RecProbe, Probe: &ProbeRecord{Place: place, Memory: m, Was: was}})
	r.build(r.plan)
}

func (r *Room) noProbe(id string) string {
	return sprintf("no probe %q is known: `rillgate probes` lists them, a place such as north/1/5 will do too", id)
}

const badLabel = "a label is one line of at most 64 printable characters"

func isLabel(s string) bool {
	if s == "" || !utf8.ValidString(s) || utf8.RuneCountInString(s) > labelMost {
		return false
	}
	for _, c := range s {
		if !unicode.IsPrint(c) {
			return false
		}
	}
	return true
}

// orderLabel names a probe for people, where the files give it no label.
func (r *Room) orderLabel(e *Order) {
	p := r.probeByID(e.Subject)
	switch {
	case p == nil:
		r.answer(e, false, NoReason, r.noProbe(e.Subject))
	case !isLabel(e.Label):
		r.answer(e, false, NoReason, badLabel)
	case r.fileLabel(p) != "" && r.fileLabel(p) != e.Label:
		r.answer(e, false, NoReason, sprintf("room.yaml labels %s %q, and it leads: change its label there, then `rillgate apply`", p.id, r.fileLabel(p)))
	default:
		m := r.probeMemory(p)
		m.Label = e.Label
		if !p.inFiles {
			m.ID = p.id
		}
		r.remember(p.place, m, nil)
		r.answer(e, true, NoReason, sprintf("%s is labelled %q", p.id, e.Label))
	}
}

// fileLabel gives the label that the files give a probe, "" for none.
func (r *Room) fileLabel(p *probe) string {
	if cfg := r.fileOf(p); cfg != nil {
		return cfg.Label
	}
	return ""
}

// fileOf gives the probe of the plan, nil where the files do not name it.
func (r *Room) fileOf(p *probe) *Probe {
	for i := range r.plan.Probes {
		if p.inFiles && r.plan.Probes[i].ID == p.id {
			return &r.plan.Probes[i]
		}
	}
	return nil
}

// orderExchange puts another probe in the place of one: what answers at its place now,
// or one that answers elsewhere. Zone, label and history go on under its id; what was
// judged of the old one ends.
func (r *Room) orderExchange(e *Order) {
	p := r.probeByID(e.Subject)
	q := p
	if e.With != "" {
		q = r.probeByID(e.With)
	}
	switch {
	case p == nil:
		r.answer(e, false, NoReason, r.noProbe(e.Subject))
	case q == nil:
		r.answer(e, false, NoReason, r.noProbe(e.With))
	case q == p && e.With != "":
		r.answer(e, false, NoReason, sprintf("%s is the probe at %s already: where another one answers there now, `rillgate exchange %s` says so", p.id, p.place, p.id))
	case q != p && q.inFiles:
		r.answer(e, false, NoReason, sprintf("room.yaml names %s at %s, and it leads: exchange takes a probe that it does not name; change both lines there, then `rillgate apply`", q.id, q.place))
	default:
		because := r.exchange(p, q, e.KeepOffset)
		r.entry(&Entry{Kind: "probe-exchanged", Probe: p.id, Zone: zoneID(p.zone), Because: because})
		r.answer(e, true, NoReason, because)
	}
}

// exchange makes q what p was, and says so. The same record ends what is remembered of
// the old place, so that no crash leaves one probe at two.
func (r *Room) exchange(p, q *probe, keepOffset bool) string {
	m := r.probeMemory(p)
	m.Excluded, m.Level, m.Ignored = false, 0, 0
	offset := p.signal.offset
	switch {
	case keepOffset && q == p && m.Void != 0: // dropped before, and to be added again
		offset, m.Void = m.Void, 0
	case offset != 0 && !keepOffset:
		m.Void = offset
	}
	r.lookAnew(p)
	r.lookAnew(q)
	q.begin()
	id, from := p.id, p.place
	if q == p {
		r.remember(p.place, m, nil)
	} else {
		m.ID, m.Label = p.id, p.label
		if cfg := r.fileOf(p); cfg != nil {
			m.Instead = cfg.Place.String()
		}
		delete(r.probeBy, p.place) // what answers there yet is met as a stranger
		r.remember(q.place, m, &from)
	}
	return r.exchanged(r.probeByID(id), from, offset, keepOffset)
}

// lookAnew ends what the zone of a probe knows by it: its high, and shots that were to be
// felt. Numbers of two probes do not compare.
func (r *Room) lookAnew(p *probe) {
	z := p.zone
	if z == nil {
		return
	}
	delete(z.mem.Highs, p.place.String())
	p.high, p.hasHigh = 0, false
	z.mem.Response = ResponseMemory{}
	z.urgent = true
}

// exchanged says what an exchange did, and what is to be changed in the files.
func (r *Room) exchanged(p *probe, from Place, offset Level, kept bool) string {
	s := sprintf("%s is the probe at %s now; label and history stay, and it starts afresh", p.id, p.place)
	if z := p.zone; z != nil {
		s = sprintf("%s is the probe at %s now; zone %s, label and history stay, and it counts from its second reading on", p.id, p.place, z.id)
	}
	switch {
	case offset != 0 && kept:
		s += sprintf("; the offset of %s points is added, as room.yaml says", points(offset))
	case offset != 0:
		s += sprintf("; the offset of %s points went with the old one: take it out of its line in room.yaml, or write its own", points(offset))
	}
	if p.place == from {
		return s
	}
	if cfg := r.fileOf(p); cfg != nil {
		return s + sprintf("; room.yaml names it at %s still: %s", cfg.Place, LineMoves(cfg.Place, p.place))
	}
	return s
}

// keptOf gives what orders said of a probe, nil for nothing.
func (r *Room) keptOf(p *probe) *KeptProbe {
	m := r.mem.Probes[p.place.String()]
	if m == nil || m.Zone == "" && m.Label == "" && m.Instead == "" && m.Void == 0 {
		return nil
	}
	return &KeptProbe{Zone: m.Zone, Label: m.Label, Instead: m.Instead, Void: m.Void}
}
