package response

import (
	"math"

	"rillgate/zones/substrate"
)

// taught is what the observations kept of one zone amount to.
type taught struct {
	Learned
	perDose Number    // points for one unit of dose: PointsPerLitre where litres are known
	own     []float64 // the same for each probe; NaN = unknown
	day     []float64 // how fast each probe falls, points/h; NaN = unknown
	night   []float64
	ceiling float64   // %, up to which shots have shown in full
	tops    []float64 // the same for each probe
}

func (t *taught) rate(lit bool) float64 {
	if lit {
		return t.UptakeDay.Value
	}
	return t.UptakeNight.Value
}

// Floors for the outlier rule: what the probes' steps and noise make of each number.
const (
	floorFall  = 0.05 // points/h
	floorDelay = 0.25 // min
	floorField = 0.3  // points
	floorRise  = 0.1  // of the value itself
)

// Edges of what is learned from.
const (
	nearField   = 0.5  // points under the field level a shot begins to drain
	drainedLeap = 0.6  // points that a level falls back by, at least, when it drains
	drainedPart = 0.25 // and as a share of the rise
	lostPart    = 0.3  // share of a shot that must have gone to show the field level
	lostLeast   = 0.4  // and in points
)

// learned reckons what the zone has taught, once for every new observation.
func (b *bed) learned() *taught {
	if b.book == nil {
		b.book = b.reckon()
	}
	return b.book
}

// reckon goes round twice: uptake is needed to read shots, shots tell the field level,
// and near the field level what falls is not uptake alone.
func (b *bed) reckon() *taught {
	t := &taught{}
	t.Zone = b.zone.ID
	for range 2 {
		t.UptakeDay, t.day = b.uptake(b.day, t.Field)
		t.UptakeNight, t.night = b.uptake(b.night, t.Field)
		t.perDose, t.own, t.ceiling = b.rise(t)
		t.Field = b.field(t)
	}
	t.UptakeSlope, t.UptakeAt = b.slope(t)
	t.tops = b.tops(t)
	t.DelayMinutes = b.delay(t)
	for i := range b.shots {
		if b.shots[i].Mark == ordinary {
			t.Shots++
		}
	}
	if b.zone.FlowLPH > 0 {
		t.PointsPerLitre = t.perDose
	}
	t.UptakeDayML, t.UptakeNightML = b.drunk(t.UptakeDay, t), b.drunk(t.UptakeNight, t)
	return t
}

// uptake gives how fast the zone falls by itself, and each of its probes.
func (b *bed) uptake(blocks []block, field Number) (Number, []float64) {
	late := lateBlocks(blocks)
	var falls []float64
	each := make([][]float64, len(b.tracks))
	for i := range blocks {
		k := &blocks[i]
		if !k.shows(late, field) {
			continue
		}
		falls = append(falls, middleOf(k.Falls).float())
		for p, f := range k.Falls {
			if f != unknown && p < len(each) {
				each[p] = append(each[p], f.float())
			}
		}
	}
	own := medians(each)
	return withProbes(number(falls, floorFall), own), own
}

// lateBlocks counts the stretches in which nothing drained any more.
func lateBlocks(blocks []block) (n int) {
	for i := range blocks {
		if !blocks[i].Early {
			n++
		}
	}
	return n
}

// shows reports whether a stretch shows uptake alone.
func (b *block) shows(late int, field Number) bool {
	drains := b.Early && (late >= 4 && !field.Known() || field.Known() && b.Level.float() > field.Value-nearField)
	return !b.Odd && !drains && middleOf(b.Falls) != unknown
}

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

// drunk turns points an hour into mL a plant and hour: by what a litre raised it by,
// else by the substrate's volume.
func (b *bed) drunk(uptake Number, t *taught) Number {
	per := t.PointsPerLitre
	if per.N < 3 || !(per.Value > 0) {
		if !(b.zone.VolumeML > 0) {
			return Number{}
		}
		per = Number{Value: 100 * 1000 / b.zone.VolumeML, N: 1}
	}
	if !uptake.Known() {
		return Number{}
	}
	x := 1000 * uptake.Value / per.Value
	half := 1000 / per.Value * math.Hypot(uptake.HalfWidth, uptake.Value*per.HalfWidth/per.Value)
	return Number{Value: x, Spread: 1000 * uptake.Spread / per.Value, HalfWidth: half, N: uptake.N}
}

// number sums up observations: outliers out (Hampel), then the mean and its 95 %
// interval.
func number(values []float64, floor float64) Number {
	s, err := substrate.Judge(values, floor)
	if err != nil {
		return Number{} // none
	}
	return Number{Value: s.Mean, Spread: s.SD, HalfWidth: s.HalfWidth, N: s.N}
}

// withProbes widens an interval by what the zone's probes differ: they stand for the
// plants without one.
func withProbes(n Number, own []float64) Number {
	var v []float64
	for _, x := range own {
		if !math.IsNaN(x) {
			v = append(v, x)
		}
	}
	if s, err := substrate.Judge(v, math.Max(0.1*math.Abs(n.Value), 1e-3)); err == nil && n.N > 0 {
		n.HalfWidth = math.Hypot(n.HalfWidth, s.HalfWidth)
	}
	return n
}

// medians gives the median of each list, NaN of an empty one.
func medians(lists [][]float64) []float64 {
	out := make([]float64, len(lists))
	for i, l := range lists {
		out[i] = math.NaN()
		if s, err := substrate.Judge(l, 1); err == nil {
			out[i] = s.Median
		}
	}
	return out
}
