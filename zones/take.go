package zones

import "time"

const maxStrangers = 256

// reading takes one probe's message. Most readings change nothing that matters now:
// only then is the whole room looked at.
func (r *Room) reading(e *Reading) {
	p := r.probeBy[e.Place]
	if p == nil {
		if p = r.meet(e); p == nil {
			return
		}
	}
	wasOut, wasBad := p.excluded, p.outside
	taken, changed := p.take(e, r.t)
	if changed {
		r.exclusion(p, wasOut)
	}
	z := p.zone
	if !taken || z == nil {
		return
	}
	p.rose = p.rise(r.t, z.quietFrom())
	r.noteHigh(p)
	was := z.est
	z.est = z.estimate(r.t)
	if z.noteBands(r.t) {
		r.dirty = true
	}
	if z.est.known {
		r.noteLevel(z)
	}
	if changed || wasBad != p.outside || z.unquiet(&was) || p.rose >= leakRise {
		r.dirty = true
	}
	if z.est.staleAt != forever {
		r.at(z.est.staleAt + 1)
	}
	switch {
	case !z.changed || !r.keepsRecords():
	case r.t >= r.progRec+time.Minute:
		r.dirty = true // what it had is written down now
	default:
		r.at(r.progRec + time.Minute)
	}
}

// unquiet reports whether the new estimate may change what the room does.
func (z *zone) unquiet(was *estimate) bool {
	e := &z.est
	if e.known != was.known || e.silent != was.silent || e.bad != was.bad || e.count != was.count || e.outliers != was.outliers || e.disagree != was.disagree {
		return true
	}
	if !e.known {
		return false
	}
	if e.value < z.lo || e.value >= z.hi || e.fallKnown != was.fallKnown {
		return true
	}
	return e.fallKnown && (e.fall >= z.fallTop) != (was.fall >= z.fallTop)
}

// meet registers a place that nobody named: a new probe, without a zone.
func (r *Room) meet(e *Reading) *probe {
	if e.Retained || r.controlBy[e.Place.Controller] == nil {
		return nil
	}
	n := 0
	for _, p := range r.probes {
		if !p.inFiles {
			n++
		}
	}
	if n >= maxStrangers {
		return nil
	}
	p := r.fitProbe(nil, wired{place: e.Place, id: r.freshID(e.Place), label: r.labelled(e.Place)})
	r.entry(&Entry{Kind: "probe-new", Probe: p.id, Because: sprintf("a probe that no file names answers at %s", e.Place)})
	return p
}

// exclusion remembers and tells that a probe was left out, or let in again.
func (r *Room) exclusion(p *probe, wasOut bool) {
	r.record(&Record{Kind: RecProbe, Probe: &ProbeRecord{Place: p.place, Memory: r.probeMemory(p)}})
	e := &Entry{Kind: "probe-back", Probe: p.id, Zone: zoneID(p.zone), Because: sprintf("%s reads %s %% again, near its former level", p.id, percent(p.value))}
	if !wasOut {
		e.Kind, e.Reason = "probe-implausible", ProbesImplausible
		e.Because = sprintf("%s fell from %s %% to %s %%: no substrate dries so fast", p.id, percent(p.level), percent(p.value))
	}
	r.entry(e)
}

func (r *Room) probeMemory(p *probe) ProbeMemory {
	m := ProbeMemory{}
	if old := r.mem.Probes[p.place.String()]; old != nil {
		m = *old
	}
	m.Excluded, m.Level, m.Ignored = p.excluded, p.level, p.ignoredTo
	return m
}

// placeID gives a probe that nobody named an id that says where it is; a capital
// letter is written "u" and its small one, since ids know no capitals.
func placeID(p Place) string {
	a := p.Address
	if len(a) == 1 && a[0] >= 'A' && a[0] <= 'Z' {
		a = "u" + string(a[0]+'a'-'A')
	}
	id := p.Controller + "-" + itoa(p.Terminal) + "-" + a
	if p.Terminal == 0 {
		id = p.Controller + "-" + a
	}
	if len(id) > 32 {
		id = id[:32]
	}
	return id
}

// percent shows a level with one decimal.
func percent(l Level) string { return sprintf("%.1f", l.Float()) }

// points shows a difference of levels with one decimal.
func points(l Level) string { return sprintf("%.1f", l.Float()) }
