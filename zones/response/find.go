package response

import (
	"fmt"
	"slices"
	"strings"
)

// raise sets a finding or renews its words. A finding that stands keeps its times.
func (m *Model) raise(b *bed, f Finding) {
	f.Zone, f.Found = b.zone.ID, age(m.now)
	for i := range b.found {
		if o := &b.found[i]; o.Code == f.Code && o.Probe == f.Probe && o.Other == f.Other {
			o.Because = f.Because
			return
		}
	}
	b.found = append(b.found, f)
	m.changed = true
}

// clear ends a finding. probe "" is the zone as a whole.
func (m *Model) clear(b *bed, code Code, probe string) {
	n := len(b.found)
	b.found = slices.DeleteFunc(b.found, func(f Finding) bool { return f.Code == code && f.Probe == probe })
	m.changed = m.changed || len(b.found) != n
}

// has reports whether a finding stands. probe "" is the zone as a whole.
func (b *bed) has(code Code, probe string) bool {
	return slices.ContainsFunc(b.found, func(f Finding) bool { return f.Code == code && f.Probe == probe })
}

// standing gives the findings of a zone by weight; of two about one subject the
// heavier. What is found of the whole zone explains what its probes show.
func (b *bed) standing() []Finding {
	weight := func(f *Finding) int { return slices.Index(Codes(), f.Code) }
	all := slices.Clone(b.found)
	slices.SortStableFunc(all, func(x, y Finding) int {
		if d := weight(&x) - weight(&y); d != 0 {
			return d
		}
		return strings.Compare(x.Subject()+x.Other, y.Subject()+y.Other)
	})
	var out []Finding
	for _, f := range all {
		covered := slices.ContainsFunc(out, func(o Finding) bool {
			return o.Code != f.Code && (o.Probe == f.Probe || o.Probe == "" || f.Probe == "" && o.Code == Swapped)
		})
		if !covered {
			out = append(out, f)
		}
	}
	return out
}

const (
	leastShots = 2         // shots that a finding rests on
	shotsWorth = 1.5       // points that they are worth together
	shotsMost  = 6         // how many small ones are looked back at
	shotsSpan  = 48 * hour // and how far
)

// lately gives the judged shots of a zone, the newest first.
func (b *bed) lately(now int64) []*shot {
	var out []*shot
	for i := len(b.shots) - 1; i >= 0 && len(out) < shotsMost; i-- {
		s := &b.shots[i]
		if s.Open < now-shotsSpan {
			break
		}
		if s.Worth > 0 && s.Mark != beyond && !s.Turned && s.Worth.float() >= leastWorth {
			out = append(out, s)
		}
	}
	return out
}

// seekBlocked asks whether the last shots raised the zone, or one probe, too little.
func (m *Model) seekBlocked(b *bed) {
	shots := b.lately(m.now)
	n, worth := 0, 0.0
	for n < len(shots) && shots[n].Mark == low {
		worth += shots[n].Worth.float()
		n++
	}
	switch {
	case n >= leastShots && worth >= shotsWorth:
		m.raise(b, Finding{Code: EmittersBlocked, Since: age(shots[n-1].Open), Because: b.blocked(shots[:n], worth)})
	case n == 0 && len(shots) > 0:
		m.clear(b, EmittersBlocked, "")
	}
	for i := range b.tracks {
		m.seekBlockedAt(b, i, shots)
	}
}

func (b *bed) blocked(shots []*shot, worth float64) string {
	rose := 0.0
	for _, s := range shots {
		rose += middleOf(s.rises(b.learned().rate(s.Lit))).float()
	}
	return fmt.Sprintf("the last %d shots in %s raised it by %.1f points; by what it has taught they were worth %.1f: no water comes, or emitters are blocked",
		len(shots), b.zone.title(), max(rose, 0), worth)
}

// seekBlockedAt asks the same of one probe where the zone as a whole rose.
func (m *Model) seekBlockedAt(b *bed, i int, shots []*shot) {
	t := b.tracks[i]
	n, worth, rose := 0, 0.0, 0.0
	for n < len(shots) && b.missed(shots[n], i) {
		worth += shots[n].Worth.float()
		rose += shots[n].Worth.float() * shots[n].Ratio[i].float()
		n++
	}
	switch {
	case n >= leastShots && worth >= shotsWorth:
		why := "the emitters of its plant may be blocked"
		if t.still(m.now) {
			why = "and it shows no uptake either: it may be stuck"
		}
		m.raise(b, Finding{Code: EmittersBlocked, Probe: t.probe, Since: age(shots[n-1].Open), Because: fmt.Sprintf(
			"the last %d shots in %s, worth %.1f points, raised probe %s by %.1f, though the zone rose: %s",
			n, b.zone.title(), worth, t.probe, max(rose, 0), why)})
	case n == 0 && len(shots) > 0 && len(shots[0].Ratio) > i && shots[0].Ratio[i] != unknown && shots[0].Mark == ordinary:
		m.clear(b, EmittersBlocked, t.probe)
	}
}

// missed reports whether a probe hardly rose with a shot that its zone shows.
func (b *bed) missed(s *shot, i int) bool {
	return s.Mark == ordinary && i < len(s.Ratio) && s.Ratio[i] != unknown && s.Ratio[i].float() < lowOwn && len(known(s.Ratio)) >= 2 &&
		middleOf(s.Ratio).float() >= lowPart
}

// still reports whether the track has not moved at all for two hours.
func (t *track) still(now int64) bool {
	d := t.between(now-2*hour, now+1)
	for i := range d {
		if d[i].level != d[0].level {
			return false
		}
	}
	return len(d) >= 10
}
