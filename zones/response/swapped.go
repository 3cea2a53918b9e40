package response

import (
	"fmt"
	"slices"
)

// seekSwapped asks, after a shot of zone `by`, which zones and probes follow it.
func (m *Model) seekSwapped(by *bed, s *shot) {
	for _, f := range s.Felt {
		o := m.bed(f.Zone)
		if o == nil {
			continue
		}
		if f.Most {
			m.wholeZone(by, o, s, f)
			continue
		}
		for _, i := range f.Probes {
			m.oneProbe(o, by, i)
		}
	}
	for i := range by.tracks { // its own shot may be the one that a probe missed
		for _, x := range m.beds {
			if x != by {
				m.oneProbe(by, x, i)
			}
		}
	}
	if s.Alone && s.Mark == ordinary && s.Worth > 0 {
		m.ownShot(by, s)
	}
}

// wholeZone judges a shot of `by` that most probes of o felt: if by did not feel it, the
// two are swapped; if it did, water of by runs into o.
func (m *Model) wholeZone(by, o *bed, s *shot, f felt) {
	rose := middleOf(s.rises(by.learned().rate(s.Lit)))
	if s.Worth == 0 || rose == unknown {
		return
	}
	sure := len(f.Probes) > 1 && len(known(s.After)) > 1
	if s.Mark == low || s.Mark == beyond && 4*rose < s.Worth {
		if !sure && by.timesFelt(o, s.Open-shotsSpan) < leastShots {
			return
		}
		because := fmt.Sprintf("a shot for %s raised %s by %.1f points and %s itself by %.1f of the %.1f due: their valves or their probes are swapped",
			by.zone.title(), o.zone.title(), f.Rise.float(), by.zone.title(), max(rose.float(), 0), s.Worth.float())
		m.raise(o, Finding{Code: Swapped, Other: by.zone.ID, Since: age(s.Open), Because: because})
		m.raise(by, Finding{Code: Swapped, Other: o.zone.ID, Since: age(s.Open), Because: because})
		return
	}
	if by.timesFelt(o, s.Open-shotsSpan) >= leastShots {
		m.raise(o, Finding{Code: LeakSuspected, Since: age(s.Open), Because: fmt.Sprintf(
			"%s rises with the shots of %s, by %.1f points with the last one, without one of its own: water runs over, or its valve opens too",
			o.zone.title(), by.zone.title(), f.Rise.float())})
	}
}

// timesFelt counts the shots since an age that most of another zone's probes felt.
func (b *bed) timesFelt(o *bed, from int64) (n int) {
	for i := range b.shots {
		for _, f := range b.shots[i].Felt {
			if b.shots[i].Open >= from && f.Zone == o.zone.ID && f.Most {
				n++
			}
		}
	}
	return n
}

// oneProbe asks whether probe i of b follows the shots of another zone and not its own.
func (m *Model) oneProbe(b, other *bed, i int) {
	t := b.tracks[i]
	missed, since := b.missedSince(i, m.now-shotsSpan)
	follows := 0
	for k := range other.shots {
		s := &other.shots[k]
		for _, f := range s.Felt {
			if s.Open >= since && f.Zone == b.zone.ID && !f.Most && slices.Contains(f.Probes, i) {
				follows++
			}
		}
	}
	if follows < 1 || follows+missed < leastShots {
		m.exchanged(b, other, i, missed, since)
		return
	}
	m.raise(b, Finding{Code: Swapped, Probe: t.probe, Other: other.zone.ID, Since: age(since), Because: fmt.Sprintf(
		"probe %s of %s rose with %d of the shots of %s and missed %d of its own: it may sit in %s",
		t.probe, b.zone.title(), follows, other.zone.title(), missed, other.zone.title())})
}

// exchanged finds the other one of two swapped probes: it misses its own shots, and one
// from the other zone follows them.
func (m *Model) exchanged(b, other *bed, i, missed int, since int64) {
	k := slices.IndexFunc(other.found, func(f Finding) bool { return f.Code == Swapped && f.Probe != "" && f.Other == b.zone.ID })
	if k < 0 || missed < leastShots {
		return
	}
	t := b.tracks[i]
	m.raise(b, Finding{Code: Swapped, Probe: t.probe, Other: other.zone.ID, Since: age(since), Because: fmt.Sprintf(
		"probe %s of %s missed %d of its own shots, which probe %s of %s follows: the two may be swapped",
		t.probe, b.zone.title(), missed, other.found[k].Probe, other.zone.title())})
}

// missedSince counts the own shots that a probe missed since the last that it felt, and
// gives the age from which that is; not before `from`.
func (b *bed) missedSince(i int, from int64) (n int, since int64) {
	for k := len(b.shots) - 1; k >= 0; k-- {
		s := &b.shots[k]
		if s.Open < from {
			return n, from
		}
		switch {
		case b.missed(s, i):
			n++
		case s.Alone && s.Mark == ordinary && len(s.Ratio) > i && s.Ratio[i] != unknown && s.Ratio[i].float() >= lowPart:
			return n, s.Closed
		}
	}
	return n, from
}

// ownShot ends what a shot of its own disproves.
func (m *Model) ownShot(b *bed, s *shot) {
	if b.has(Swapped, "") {
		for _, o := range m.beds {
			if o.has(Swapped, "") && o != b && slices.ContainsFunc(o.found, func(f Finding) bool { return f.Code == Swapped && f.Other == b.zone.ID }) {
				m.clear(o, Swapped, "")
			}
		}
		m.clear(b, Swapped, "")
	}
	for i, t := range b.tracks {
		if i < len(s.Ratio) && s.Ratio[i] != unknown && s.Ratio[i].float() >= lowPart {
			m.clear(b, Swapped, t.probe)
			m.clear(b, ProbeSlipped, t.probe)
		}
	}
}
