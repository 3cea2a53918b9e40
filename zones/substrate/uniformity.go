package substrate

import (
	"fmt"
	"math"
	"slices"
)

// Uniformity says how evenly emitters give, from a catch test: one volume an emitter,
// all over one time. All shares are percent; 100 = all give the same.
type Uniformity struct {
	N    int     // volumes
	Mean float64 // of all, in their unit
	// Christiansen is the coefficient 100 (1 - sum |x - mean| / (n mean)); Christiansen
	// 1942, Calif. Agr. Exp. Sta. Bull. 670. It falls below 0 where few emitters give all.
	Christiansen float64
	// LowQuarter is 100 (mean of the lowest quarter) / mean; Keller & Bliesner 2000.
	LowQuarter float64
	Quarter    int // volumes in the lowest quarter: a quarter of N, rounded up
	// Statistical is 100 (1 - standard deviation / mean), with N - 1 (from memory: ASAE
	// EP458). It falls below 0 likewise.
	Statistical float64
}

// Bounds of a catch test.
const (
	LeastCatches  = 4  // under it there is no lowest quarter to speak of
	EnoughCatches = 18 // emitters to be measured (from memory: ASAE EP458)
)

// UniformityOf judges a catch test. Volumes may be in any one unit; 0 is an emitter that
// gives nothing. It fails on fewer than LeastCatches, on a volume that is negative or
// not finite, and where all are 0.
func UniformityOf(volumes []float64) (Uniformity, error) {
	n := len(volumes)
	if n < LeastCatches {
		return Uniformity{}, fmt.Errorf("judge a catch test of %d volumes: %d are due at least", n, LeastCatches)
	}
	sum := 0.0
	for i, v := range volumes {
		if !(v >= 0 && v <= 1e9) {
			return Uniformity{}, fmt.Errorf("judge a catch test: volume %d is %g; 0 or more is due", i+1, v)
		}
		sum += v
	}
	if sum == 0 {
		return Uniformity{}, fmt.Errorf("judge a catch test: all %d volumes are 0; catch while the valve is open", n)
	}
	u := Uniformity{N: n, Mean: sum / float64(n), Quarter: (n + 3) / 4}
	away, square := 0.0, 0.0
	for _, v := range volumes {
		away += math.Abs(v - u.Mean)
		square += (v - u.Mean) * (v - u.Mean)
	}
	u.Christiansen = 100 * (1 - away/sum)
	u.Statistical = 100 * (1 - math.Sqrt(square/float64(n-1))/u.Mean)
	u.LowQuarter = 100 * meanOf(slices.Sorted(slices.Values(volumes))[:u.Quarter]) / u.Mean
	return u, nil
}

func meanOf(v []float64) (mean float64) {
	for _, x := range v {
		mean += x / float64(len(v))
	}
	return mean
}

// RunTimeFactor gives by what a run must be longer for the lowest quarter to get, on
// average, what was meant for all: 1 / LowQuarter (from memory; common in scheduling).
// ok is false where the lowest quarter gets nothing.
func (u Uniformity) RunTimeFactor() (factor float64, ok bool) {
	if !(u.LowQuarter > 0) {
		return 0, false
	}
	return 100 / u.LowQuarter, true
}
