package response

import (
	"math"
	"time"
)

// Light is the lights to come: On now, then changing at each of Switches, which are
// reckoned from now, in order. After the last of them it stays as it is.
type Light struct {
	On       bool
	Switches []time.Duration
}

// Dry says when a zone reaches its dry level without water.
type Dry struct {
	After     time.Duration // from now; 0 = it is there already
	HalfWidth time.Duration // either way, about 95 %
}

// Forecast is what TimeToDry reckons from: levels in %, uptake in points/h.
type Forecast struct {
	Level, LevelHalf float64 // now, and the half-width of its 95 % interval
	DryLevel         float64
	Day, Night       Number  // uptake at the moisture At
	At               float64 // %; 0 = at Level
	Slope            Number  // share of the uptake that it changes by with every point; N 0 = not known
}

// Horizon is how far TimeToDry looks.
const Horizon = 7 * 24 * time.Hour

const (
	// paceFloor is the least uncertainty of an uptake that is to come, as a share of it:
	// tomorrow is no copy of today (common practice, no source).
	paceFloor = 0.12
	// slopeDoubt is how unsure a slope is that is not known, a share for each point
	// (chosen here).
	slopeDoubt = 0.03
	// leastShare is what is left of an uptake, whatever the slope says.
	leastShare = 0.2
)

// course is one way in which it may go.
type course struct{ level, day, night, slope float64 }

// TimeToDry gives when the level falls to the dry level. ok is false when the uptake of
// a time of day that it needs is not known, or when the level is not reached within
// Horizon.
func TimeToDry(f Forecast, light Light) (d Dry, ok bool) {
	if f.Level <= f.DryLevel {
		return Dry{}, true
	}
	if f.At == 0 {
		f.At = f.Level
	}
	mid := course{f.Level, rate(f.Day), rate(f.Night), f.Slope.Value}
	after, ok := f.fall(mid, light)
	if !ok {
		return Dry{}, false
	}
	slope := slopeDoubt
	if f.Slope.Known() {
		slope = f.Slope.HalfWidth
	}
	var sum float64
	for _, c := range []course{{level: f.LevelHalf}, {day: -pace(f.Day)}, {night: -pace(f.Night)}, {slope: slope}} {
		x := f.differs(mid, c, after, light)
		sum += x * x
	}
	half := time.Duration(math.Sqrt(sum) * float64(time.Hour))
	return Dry{After: after.Round(time.Second), HalfWidth: half.Round(time.Second)}, true
}

// differs gives by how many hours it may come later or sooner when one number is not
// what it is taken for.
func (f *Forecast) differs(mid, by course, after time.Duration, light Light) float64 {
	way := func(k float64) float64 {
		c := course{math.Max(mid.level+k*by.level, f.DryLevel), mid.day + k*by.day, mid.night + k*by.night, mid.slope + k*by.slope}
		t, ok := f.fall(c, light)
		if !ok {
			t = Horizon
		}
		return math.Abs((t - after).Hours())
	}
	return math.Max(way(1), way(-1))
}

// rate gives an uptake, NaN when it is not known.
func rate(n Number) float64 {
	if !n.Known() {
		return math.NaN()
	}
	return n.Value
}

// pace gives the uncertainty of an uptake in a time to come, points/h.
func pace(n Number) float64 { return math.Hypot(n.HalfWidth, paceFloor*n.Value) }

// fall gives how long a course takes to the dry level; ok is false when it takes longer
// than Horizon, or hangs on an uptake that is not known.
func (f *Forecast) fall(c course, light Light) (after time.Duration, ok bool) {
	on, from := light.On, time.Duration(0)
	for i := 0; ; i++ {
		to := Horizon
		if i < len(light.Switches) {
			to = min(max(light.Switches[i], from), Horizon)
		}
		r := c.night
		if on {
			r = c.day
		}
		if math.IsNaN(r) && to > from {
			return 0, false
		}
		level, took := f.along(c, r, (to - from).Hours())
		if took >= 0 {
			return from + time.Duration(took*float64(time.Hour)), true
		}
		if to >= Horizon {
			return 0, false
		}
		c.level, from, on = level, to, !on
	}
}

// along gives the level after so many hours at an uptake r, which changes with the
// level, or how many of them it took to the dry level (else negative). From dL/dt =
// -r (1 + s (L - at)) the level dies away at r s (own derivation).
func (f *Forecast) along(c course, r, hours float64) (level, took float64) {
	share := 1 + c.slope*(c.level-f.At)
	last := 1 + c.slope*(f.DryLevel-f.At)
	if !(r > 0) || hours <= 0 {
		return c.level, -1
	}
	if math.Abs(c.slope) < 1e-6 || share < leastShare || last < leastShare {
		r *= math.Max(math.Min(share, (share+last)/2), leastShare)
		if took = (c.level - f.DryLevel) / r; took <= hours {
			return f.DryLevel, took
		}
		return c.level - r*hours, -1
	}
	if took = math.Log(share/last) / (r * c.slope); took <= hours {
		return f.DryLevel, took
	}
	return f.At + (share*math.Exp(-r*c.slope*hours)-1)/c.slope, -1
}
