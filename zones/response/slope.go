package response

import (
	"math"
	"slices"
)

// Edges of what a slope is read from.
const (
	slopeBlocks = 12   // stretches by day
	slopeApart  = 1.0  // points by which the levels of two of them differ
	slopeMost   = 0.05 // share a point: more is no slope but something else
	slopeSure   = 0.03 // half-width from which on it is not used
)

// slope gives how uptake by day changes with moisture, as a share for each point, and
// the moisture that the uptakes are of. It is the median of the slopes of all pairs
// (Theil 1950, Sen 1968), with Sen's interval (from memory). Only a slowing while it
// dries is taken: more uptake from less water is another cause.
func (b *bed) slope(t *taught) (Number, float64) {
	late := lateBlocks(b.day)
	var levels, falls []float64
	for i := range b.day {
		if k := &b.day[i]; k.shows(late, t.Field) {
			fall := middleOf(k.Falls).float()
			levels = append(levels, k.Level.float()-fall*k.hours()/2)
			falls = append(falls, fall)
		}
	}
	if len(levels) == 0 {
		return Number{}, 0
	}
	at := 0.0
	for _, l := range levels {
		at += l / float64(len(levels))
	}
	if len(levels) < slopeBlocks || !(t.UptakeDay.Value > 0) {
		return Number{}, at
	}
	n := theilSen(levels, falls)
	n.Value, n.HalfWidth, n.Spread = n.Value/t.UptakeDay.Value, n.HalfWidth/t.UptakeDay.Value, n.Spread/t.UptakeDay.Value
	if n.N == 0 || n.HalfWidth > slopeSure || n.Value < -n.HalfWidth || n.Value > slopeMost {
		return Number{}, at
	}
	n.Value = math.Max(n.Value, 0)
	return n, at
}

// theilSen gives the slope of y over x, of the pairs whose x differ enough. Spread is
// the standard deviation that the interval amounts to.
func theilSen(x, y []float64) Number {
	var all []float64
	for i := range x {
		for j := range i {
			if d := x[i] - x[j]; math.Abs(d) >= slopeApart {
				all = append(all, (y[i]-y[j])/d)
			}
		}
	}
	n := len(x)
	if len(all) < 2*n {
		return Number{}
	}
	slices.Sort(all)
	// Kendall's variance, for as many pairs as there are here.
	pairs := float64(n) * float64(n-1) / 2
	reach := 1.96 * math.Sqrt(float64(n)*float64(n-1)*float64(2*n+5)/18) / 2 * float64(len(all)) / pairs
	mid := float64(len(all)-1) / 2
	low, high := int(math.Max(mid-reach, 0)), int(math.Min(mid+reach+1, float64(len(all)-1)))
	half := (all[high] - all[low]) / 2
	return Number{Value: all[len(all)/2], HalfWidth: half, Spread: half / 1.96, N: n}
}
