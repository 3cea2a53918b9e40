package zones

import (
	"time"

	"rillgate/schedule"
)

// wired is a probe as files and register together have it.
type wired struct {
	place           Place
	id, label, zone string
	offset          Level
	inFiles         bool
}

// buildProbes fits the probes of the plan, those that orders gave to zones, and those
// that answer unasked. Where the files name a probe, they lead; the register fills what
// they leave open. An exchange stands until the files name another place for it.
func (r *Room) buildProbes(p *Plan) {
	old := r.probeBy
	r.probeBy = map[Place]*probe{}
	r.probes = nil
	for i := range p.Probes {
		w := r.inFiles(p, &p.Probes[i])
		r.fitProbe(old[w.place], w)
	}
	for _, key := range sortedKeys(r.mem.Probes) {
		m := r.mem.Probes[key]
		place, ok := parsePlace(key)
		if !ok || m.ID == "" || r.probeBy[place] != nil || r.probeByID(m.ID) != nil {
			continue
		}
		r.fitProbe(old[place], wired{place: place, id: m.ID, label: m.Label, zone: m.Zone})
	}
	for _, place := range sortedPlaces(old) {
		if q := old[place]; r.probeBy[place] == nil && !q.inFiles && r.probeByID(q.id) == nil {
			r.fitProbe(q, wired{place: place, id: q.id, label: r.labelled(place)})
		}
	}
	for _, z := range r.zones {
		z.est = z.estimate(r.t)
	}
}

// inFiles gives a probe of the plan as it counts.
func (r *Room) inFiles(p *Plan, cfg *Probe) wired {
	w := wired{place: r.placeOf(p, cfg), id: cfg.ID, label: cfg.Label, zone: cfg.Zone, offset: cfg.Offset, inFiles: true}
	if w.label == "" {
		w.label = r.labelled(w.place)
	}
	if m := r.mem.Probes[w.place.String()]; m != nil && m.Void == cfg.Offset {
		w.offset = 0
	}
	return w
}

// placeOf gives where a probe of the plan is: where an exchange brought it, as long as
// the plan says what it said then and gives that place to no other.
func (r *Room) placeOf(p *Plan, cfg *Probe) Place {
	for _, key := range sortedKeys(r.mem.Probes) {
		m := r.mem.Probes[key]
		place, ok := parsePlace(key)
		if ok && m.Instead == cfg.Place.String() && m.ID == cfg.ID && !namesPlace(p, place) {
			return place
		}
	}
	return cfg.Place
}

func namesPlace(p *Plan, place Place) bool {
	for i := range p.Probes {
		if p.Probes[i].Place == place {
			return true
		}
	}
	return false
}

// labelled gives the label that an order gave to a place, "" for none.
func (r *Room) labelled(place Place) string {
	if m := r.mem.Probes[place.String()]; m != nil {
		return m.Label
	}
	return ""
}

// reconcile ends what orders said of probes where the files say something else since:
// they lead from then on, also when they go back to their former words.
func (r *Room) reconcile() {
	for i := range r.plan.Probes {
		cfg := &r.plan.Probes[i]
		for _, key := range sortedKeys(r.mem.Probes) {
			if m := r.mem.Probes[key]; m.Instead != "" && m.ID == cfg.ID {
				r.endExchange(cfg, key, m)
			}
		}
		place := r.placeOf(r.plan, cfg)
		if m := r.mem.Probes[place.String()]; m != nil && m.Void != 0 && m.Void != cfg.Offset {
			now := *m
			now.Void = 0
			r.record(&Record{Kind: RecProbe, Probe: &ProbeRecord{Place: place, Memory: now}})
		}
	}
}

// endExchange takes an exchange to where the files name its probe now.
func (r *Room) endExchange(cfg *Probe, key string, m *ProbeMemory) {
	place, ok := parsePlace(key)
	if !ok || place != cfg.Place && r.placeOf(r.plan, cfg) == place {
		return // the files say what they said then
	}
	now := ProbeMemory{Label: m.Label, Void: m.Void}
	if old := r.mem.Probes[cfg.Place.String()]; old != nil {
		now.Excluded, now.Level, now.Ignored = old.Excluded, old.Level, old.Ignored
	}
	r.record(&Record{Kind: RecProbe, Probe: &ProbeRecord{Place: cfg.Place, Memory: now, Was: &place}})
	r.entry(&Entry{Kind: "probe-in-files", Probe: cfg.ID, Zone: cfg.Zone,
		Because: sprintf("room.yaml names %s at %s, and leads; an exchange had brought it to %s", cfg.ID, cfg.Place, place)})
}

func (r *Room) fitProbe(q *probe, w wired) *probe {
	if q == nil {
		q = &probe{signal: silentSignal()}
		if m := r.mem.Probes[w.place.String()]; m != nil {
			q.excluded, q.level, q.ignoredTo = m.Excluded, m.Level, m.Ignored
		}
	}
	q.id, q.label, q.place, q.inFiles = w.id, w.label, w.place, w.inFiles
	if z := r.zoneBy[w.zone]; z != q.zone || z == nil {
		q.zone = z
		q.hasHigh = false
	}
	q.lo, q.hi, q.stale = 0, 100*schedule.Percent, 3*time.Minute
	q.signal.medium, q.signal.offset = nil, w.offset
	if z := q.zone; z != nil {
		q.signal.medium = &z.cfg.Medium
		m := z.cfg.Moisture
		q.lo, q.hi, q.stale = m.PlausibleLo, m.PlausibleHi, m.StaleAfter
		z.probes = append(z.probes, q)
		if h, ok := z.mem.Highs[w.place.String()]; ok && !q.hasHigh {
			q.high, q.hasHigh = h, true
		}
	}
	r.probeBy[w.place] = q
	r.probes = append(r.probes, q)
	return q
}

// freshID gives a probe that nobody named an id that no other bears.
func (r *Room) freshID(place Place) string {
	id := placeID(place)
	for n := 2; r.probeByID(id) != nil; n++ {
		end := "-" + itoa(n)
		id = placeID(place)
		id = id[:min(len(id), 32-len(end))] + end
	}
	return id
}
