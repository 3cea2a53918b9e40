package response

import "math"

// rise gives the points for one unit of dose, of the zone and of each probe, from the
// shots that neither drained nor were odd, and the level up to which there are such.
func (b *bed) rise(t *taught) (Number, []float64, float64) {
	var all []float64
	each := make([][]float64, len(b.tracks))
	ceiling := 0.0
	for i := range b.shots {
		s := &b.shots[i]
		if s.Mark != ordinary || s.Turned || !(s.Dose > 0) || s.drains(t) {
			continue
		}
		rises := s.rises(t.rate(s.Lit))
		mid := middleOf(rises)
		if mid == unknown || mid <= 0 {
			continue
		}
		all = append(all, mid.float()/s.Dose)
		ceiling = math.Max(ceiling, middleOf(s.After).float())
		for p, r := range rises {
			if r != unknown && p < len(each) {
				each[p] = append(each[p], r.float()/s.Dose)
			}
		}
	}
	own := medians(each)
	floor := floorRise
	if len(all) > 0 {
		floor = floorRise * all[0]
	}
	return withProbes(number(all, floor), own), own, ceiling
}

// fullPart is the share of what it had taught by which a probe shows a shot in full.
const fullPart = 0.8

// tops gives the level up to which each probe has shown shots in full: above, its plant
// may drain though the zone does not.
func (b *bed) tops(t *taught) []float64 {
	tops := make([]float64, len(b.tracks))
	for i := range b.shots {
		s := &b.shots[i]
		if s.Mark != ordinary || s.Turned {
			continue
		}
		for p, r := range s.rises(t.rate(s.Lit)) {
			if r != unknown && p < len(tops) && r.float() >= fullPart*t.own[p]*s.Dose {
				tops[p] = math.Max(tops[p], s.After[p].float())
			}
		}
	}
	return tops
}

// drains reports whether a shot fell back soon, or stands where shots drain.
func (s *shot) drains(t *taught) bool {
	after := middleOf(s.After)
	if after == unknown {
		return true
	}
	if t.Field.Known() && after.float() > t.Field.Value-nearField {
		return true
	}
	back := make([]milli, len(s.Peak))
	for i := range back {
		back[i] = minus(s.Peak[i], s.After[i])
	}
	fell, rose := middleOf(back), middleOf(s.rises(t.rate(s.Lit)))
	return fell == unknown || fell.float() > math.Max(drainedLeap, drainedPart*rose.float())
}

// field gives the level to which shots drained back: where an hour later much of the
// shot had gone, though it had been there.
func (b *bed) field(t *taught) Number {
	var all []float64
	for i := range b.shots {
		s := &b.shots[i]
		worth := t.perDose.Value * s.Dose
		before, peak, late := middleOf(s.Before), middleOf(s.Peak), middleOf(s.Late)
		if s.Mark == low || s.Mark == high || s.Turned || worth <= 0 || before == unknown || peak == unknown || late == unknown {
			continue
		}
		rate := t.rate(s.Lit) / 3600
		stayed := (late - before).float() + rate*float64(s.LateAt-s.BaseAt)
		lost := worth - stayed
		if lost < lostLeast || lost < lostPart*worth || (peak-late).float() < lostPart*worth {
			continue
		}
		// The end of drainage is taken to be 20 min after the close.
		all = append(all, late.float()+rate*float64(s.LateAt-s.Closed-20*minute))
	}
	return number(all, floorField)
}

// delay gives the minutes from the opening to half of the rise.
func (b *bed) delay(t *taught) Number {
	var all []float64
	for i := range b.shots {
		s := &b.shots[i]
		if s.Mark != ordinary || s.drains(t) {
			continue
		}
		v := make([]milli, len(s.Halfway))
		for p, h := range s.Halfway {
			if v[p] = milli(h); h < 0 {
				v[p] = unknown
			}
		}
		if mid := middleOf(v); mid != unknown {
			all = append(all, float64(mid)/60)
		}
	}
	return number(all, floorDelay)
}
