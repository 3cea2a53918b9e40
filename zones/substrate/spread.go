package substrate

import (
	"fmt"
	"math"
	"slices"
)

// Spread is how far the probes of a zone lie apart, all in the unit of the values.
type Spread struct {
	N         int     // values that were not outliers
	Median    float64 // of all values
	Scale     float64 // 1.4826 x median distance from the median, of all; at least the floor
	Outliers  []int   // indices, rising
	Mean, SD  float64 // of those that were not outliers; SD 0 with fewer than two
	HalfWidth float64 // of the 95 % interval of Mean; 0 = not known, with fewer than two
}

// Numbers of the outlier rule.
const (
	madToSigma = 1.482602218505602 // 1 / the normal's upper quartile
	hampelCut  = 3.0               // Hampel's rule (from memory)
)

// Judge gives the spread of values, and as outliers those more than 3 Scale from the
// median (Hampel's rule, from memory). floor, above 0, is a probe's accuracy: where
// most values are equal their median distance is 0 and every other would be an
// outlier. Of two values neither can be outvoted: both lie one median distance
// away. It fails on no values, on one that is not finite, and on a floor not above 0.
func Judge(values []float64, floor float64) (Spread, error) {
	if len(values) == 0 || !(floor > 0) || math.IsInf(floor, 0) {
		return Spread{}, fmt.Errorf("judge %d values with a floor of %g: one value at least, and a floor above 0, are due", len(values), floor)
	}
	for i, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return Spread{}, fmt.Errorf("judge value %d: it is %g", i+1, v)
		}
	}
	s := Spread{Median: median(values)}
	away := make([]float64, len(values))
	for i, v := range values {
		away[i] = math.Abs(v - s.Median)
	}
	s.Scale = max(floor, madToSigma*median(away))
	var kept []float64
	for i, v := range values {
		if away[i] > hampelCut*s.Scale {
			s.Outliers = append(s.Outliers, i)
			continue
		}
		kept = append(kept, v)
	}
	s.N = len(kept)
	s.Mean, s.SD, s.HalfWidth = interval(kept)
	return s, nil
}

// interval gives mean, standard deviation and the half-width of the 95 % interval.
func interval(v []float64) (mean, sd, half float64) {
	n := float64(len(v))
	for _, x := range v {
		mean += x / n
	}
	if len(v) < 2 {
		return mean, 0, 0
	}
	sum := 0.0
	for _, x := range v {
		sum += (x - mean) * (x - mean)
	}
	sd = math.Sqrt(sum / (n - 1))
	return mean, sd, studentT(0.975, len(v)-1) * sd / math.Sqrt(n)
}

// median of at least one value; the values stay as they are.
func median(values []float64) float64 {
	s := slices.Sorted(slices.Values(values))
	n := len(s)
	if n%2 == 1 {
		return s[n/2]
	}
	return s[n/2-1]/2 + s[n/2]/2
}

// mostProbes is where ProbesFor gives up.
const mostProbes = 1000

// ProbesFor gives how many probes a zone needs for the 95 % interval of its mean to be
// no wider than precision either way, when probes have a standard deviation of sd:
// the least n with n >= (t sd / precision)^2, t of n - 1 degrees of freedom, two at
// least. It fails when more than 1000 would be needed, and on numbers not above 0.
func ProbesFor(sd, precision float64) (int, error) {
	if !(sd > 0 && precision > 0) {
		return 0, fmt.Errorf("reckon probes for a spread of %g and a precision of %g: both above 0 are due", sd, precision)
	}
	for n := 2; n <= mostProbes; n++ {
		if x := studentT(0.975, n-1) * sd / precision; float64(n) >= x*x {
			return n, nil
		}
	}
	return 0, fmt.Errorf("reckon probes for a spread of %g and a precision of %g: more than %d; ask for less precision", sd, precision, mostProbes)
}

// CanopyPerProbe is the canopy that one probe should stand for at most, m2: 100 square
// feet (common practice, no source). It promises no precision; ProbesFor does.
const CanopyPerProbe = 9.290304

// ProbesForCanopy gives how many probes common practice asks for on a canopy in m2;
// 0 where the canopy is not known.
func ProbesForCanopy(canopyM2 float64) int {
	if !(canopyM2 > 0 && canopyM2 < 1e6) {
		return 0
	}
	return int(math.Ceil(canopyM2/CanopyPerProbe - 1e-9))
}
