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
	Day, Night       Number // uptake
}

// Horizon is how far TimeToDry looks.
const Horizon = 7 * 24 * time.Hour

// paceFloor is the least uncertainty of an uptake that is to come, as a share of it:
// tomorrow is no copy of today (common practice, no source).
const paceFloor = 0.12

// TimeToDry gives when the level falls to the dry level. ok is false when the uptake of
// a time of day that it needs is not known, or when the level is not reached within
// Horizon.
func TimeToDry(f Forecast, light Light) (d Dry, ok bool) {
	if f.Level <= f.DryLevel {
		return Dry{}, true
	}
	day, night := pace(f.Day), pace(f.Night)
	mid, ok := fall(f.Level-f.DryLevel, day[0], night[0], light)
	if !ok {
		return Dry{}, false
	}
	var sum float64
	for _, way := range []struct{ level, day, night float64 }{
		{f.LevelHalf, 0, 0}, {0, day[1], 0}, {0, 0, night[1]},
	} {
		later, there := fall(f.Level+way.level-f.DryLevel, day[0]-way.day, night[0]-way.night, light)
		sooner, _ := fall(math.Max(0, f.Level-way.level-f.DryLevel), day[0]+way.day, night[0]+way.night, light)
		if !there {
			later = Horizon
		}
		x := math.Max(later.Hours()-mid.Hours(), mid.Hours()-sooner.Hours())
		sum += x * x
	}
	half := time.Duration(math.Sqrt(sum) * float64(time.Hour))
	return Dry{After: mid.Round(time.Second), HalfWidth: half.Round(time.Second)}, true
}

// pace gives an uptake and its uncertainty in a time to come, points/h; NaN when it is
// not known.
func pace(n Number) [2]float64 {
	if !n.Known() {
		return [2]float64{math.NaN(), 0}
	}
	return [2]float64{n.Value, math.Hypot(n.HalfWidth, paceFloor*n.Value)}
}

// fall gives how long it takes to lose so many points; ok is false when it takes
// longer than Horizon, or hangs on an uptake that is not known.
func fall(points, day, night float64, light Light) (after time.Duration, ok bool) {
	on, from := light.On, time.Duration(0)
	for i := 0; ; i++ {
		to := Horizon
		if i < len(light.Switches) {
			to = min(max(light.Switches[i], from), Horizon)
		}
		rate := night
		if on {
			rate = day
		}
		if math.IsNaN(rate) && to > from {
			return 0, false
		}
		lost := rate * (to - from).Hours()
		if rate > 0 && lost >= points {
			return from + time.Duration(points/rate*float64(time.Hour)), true
		}
		if to >= Horizon {
			return 0, false
		}
		if to > from {
			points -= math.Max(0, lost)
		}
		from, on = to, !on
	}
}
