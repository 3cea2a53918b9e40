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
