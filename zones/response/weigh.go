package response

import "math"

// Edges of what counts as odd, as shares of what the zone had taught.
const (
	enoughShots = 4    // shots to learn from before any is judged
	lowPart     = 0.5  // a shot that raises the zone by less
	lowOwn      = 0.4  // or one probe
	highPart    = 1.7  // by more
	highLeast   = 1.5  // and by so many points more
	leastWorth  = 0.7  // points that a shot must be worth to be judged
	headroom    = 0.3  // points over the ceiling up to which one is judged
	feltPart    = 0.4  // share of what a shot is worth that is felt elsewhere
	feltLeast   = 0.7  // and in points
	feltMost    = 2.5  // share over which it is something else, a probe put back say
	feltQuiet   = 1500 // s without water of its own before a zone can feel another's
)

// weigh holds a new shot against what the zone has taught, and looks where else it was
// felt.
func (m *Model) weigh(b *bed, s *shot) {
	t := b.learned()
	rises := s.rises(t.rate(s.Lit))
	if t.perDose.N >= enoughShots && !s.Turned {
		s.Worth = milli(1000 * t.perDose.Value * s.Dose)
		s.Ratio = make([]milli, len(rises))
		for i, r := range rises {
			worth := t.own[i] * s.Dose
			s.Ratio[i] = share(r, worth)
			if s.Ratio[i] < 1000*fullPart && s.Before[i].float()+worth > t.tops[i]+headroom {
				s.Ratio[i] = unknown // its plant may have drained
			}
		}
		s.Mark = t.compare(s, middleOf(rises))
	}
	s.Alone = !m.alsoRan(b, nil, s)
	m.feel(b, s)
}

func share(rise milli, worth float64) milli {
	if rise == unknown || math.IsNaN(worth) || worth < leastWorth {
		return unknown
	}
	return milli(math.Max(-9e6, math.Min(9e6, float64(rise)/worth)))
}

// compare marks a shot by the rise of its zone.
func (t *taught) compare(s *shot, rise milli) mark {
	worth := s.Worth.float()
	if rise == unknown || worth < leastWorth {
		return ordinary
	}
	switch r := rise.float(); {
	case r > highPart*worth && r > worth+highLeast:
		return high
	case r >= lowPart*worth:
		return ordinary
	case middleOf(s.Before).float()+worth > t.top()+headroom:
		return beyond
	}
	return low
}

// top gives the level up to which a shot must show in full.
func (t *taught) top() float64 {
	if t.Field.Known() {
		return math.Min(t.ceiling, t.Field.Value-nearField)
	}
	return t.ceiling
}

// feel looks at the zones that had no water of their own, whether this shot raised
// them.
func (m *Model) feel(b *bed, s *shot) {
	to := s.AfterAt + lookAfter/2
	for _, o := range m.beds {
		if o == b || o.openAt != never || o.last > s.Open-feltQuiet || m.alsoRan(b, o, s) {
			continue
		}
		if f, ok := o.feels(b, s, to); ok {
			s.Felt = append(s.Felt, f)
			if f.Most {
				o.last = max(o.last, s.Closed)
				o.calmFrom(s.Closed + drainedShot)
				o.forgetLows()
			}
		}
	}
}

// alsoRan reports whether a zone other than b and o was watered so near to the shot that
// nobody can say whose water it was.
func (m *Model) alsoRan(b, o *bed, s *shot) bool {
	for _, x := range m.beds {
		if x == b || x == o {
			continue
		}
		if x.openAt != never || x.last > s.Open-15*minute {
			return true
		}
	}
	return false
}

// feels gives the probes of a zone that rose with another's shot, beyond the trend they
// had; after another shot of the same zone that trend may be its doing.
func (o *bed) feels(b *bed, s *shot, to int64) (felt, bool) {
	t := o.learned()
	hours := float64(s.AfterAt-s.BaseAt) / 3600
	worth := o.worthOf(b, s)
	long := o.levels(s.Open-25*minute, s.Open-25*minute+lookBefore)
	before, after := o.levels(s.Open-lookBefore, s.Open+1), o.levels(2*s.AfterAt-to, to+1)
	follows := b.last != s.Closed || len(b.shots) > 0 && b.shots[len(b.shots)-1].Closed > s.Open-hour/2
	f := felt{Zone: o.zone.ID}
	var rises []milli
	heard := 0
	for i := range o.tracks {
		r := minus(after[i], before[i])
		if r == unknown {
			continue
		}
		heard++
		rose := r.float() + t.rate(s.Lit)*hours
		if trend := minus(before[i], long[i]); trend != unknown && trend > 0 && !follows {
			rose -= trend.float() / 17 * float64(s.AfterAt-s.BaseAt) / 60
		}
		if rose >= math.Max(feltLeast, feltPart*worth) && (worth == 0 || rose <= feltMost*worth+1) {
			f.Probes = append(f.Probes, i)
			rises = append(rises, milli(1000*rose))
		}
	}
	if len(f.Probes) == 0 {
		return felt{}, false
	}
	f.Rise, f.Most = middle(rises), 2*len(f.Probes) > heard
	return f, true
}

// worthOf gives the points that another zone's shot would be worth here, if its time
// went through these emitters; at least through its own.
func (o *bed) worthOf(b *bed, s *shot) float64 {
	own := b.learned().perDose.Value * s.Dose
	if o.zone.FlowLPH <= 0 || b.zone.FlowLPH <= 0 {
		return own
	}
	here := s.Dose * float64(b.zone.Plants) / b.zone.FlowLPH * o.zone.FlowLPH / float64(o.zone.Plants)
	if x := o.learned().perDose.Value * here; x > 0 && (own == 0 || x < own) {
		return x
	}
	return own
}
