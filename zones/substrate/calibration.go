package substrate

import (
	"fmt"
	"math"
)

// Sample is a permittivity read where the water content was known by another way.
type Sample struct {
	Permittivity float64
	Theta        float64 // m3/m3
}

// Calibration is a fit theta = A + B sqrt(permittivity) to samples of one substrate.
type Calibration struct {
	A, B      float64
	N         int
	Low, High float64 // the samples' permittivities
	// Judged says whether the fit could be judged: with two samples a line always
	// fits, and R2 and RMSE say nothing.
	Judged   bool
	R2, RMSE float64 // RMSE: root of the mean squared residual, m3/m3
	Doubt    float64 // half-width of 95 % of single values about the line, m3/m3; 0 = not judged
}

// Samples nearer together than this do not carry a line (ours).
const (
	leastRootSpan  = 0.5 // in the root of permittivity
	leastThetaSpan = 0.05
)

// GravimetricTheta gives the water content of a sample weighed wet and dry (kg), of a
// bulk volume in litres; water weighs 1 kg/L. It fails on what cannot be weighed.
func GravimetricTheta(wetKg, dryKg, volumeL float64) (float64, error) {
	if !(dryKg > 0 && wetKg >= dryKg && volumeL > 0) || math.IsInf(wetKg+volumeL, 0) {
		return 0, fmt.Errorf("reckon moisture from %g kg wet, %g kg dry, %g L: wet at least dry, and dry and volume above 0 are due", wetKg, dryKg, volumeL)
	}
	theta := (wetKg - dryKg) / volumeL
	if theta > 1 {
		return 0, fmt.Errorf("reckon moisture from %g kg of water in %g L: more water than volume; check the units", wetKg-dryKg, volumeL)
	}
	return theta, nil
}

// TwoPoint calibrates by a dry and a wet sample.
func TwoPoint(dry, wet Sample) (Calibration, error) {
	return Calibrate([]Sample{dry, wet})
}

// Calibrate fits samples by least squares, two at least, better five and more. It
// fails when they lie too near together or when moisture does not rise with
// permittivity.
func Calibrate(samples []Sample) (Calibration, error) {
	if err := checkSamples(samples); err != nil {
		return Calibration{}, err
	}
	n := float64(len(samples))
	var mx, my float64
	for _, s := range samples {
		mx += math.Sqrt(s.Permittivity) / n
		my += s.Theta / n
	}
	var xx, xy, yy float64
	for _, s := range samples {
		x, y := math.Sqrt(s.Permittivity)-mx, s.Theta-my
		xx, xy, yy = xx+x*x, xy+x*y, yy+y*y
	}
	c := Calibration{N: len(samples), B: xy / xx}
	c.A = my - c.B*mx
	if !(c.B > 0) {
		return Calibration{}, fmt.Errorf("calibrate: moisture does not rise with permittivity; are the samples swapped?")
	}
	c.Low, c.High = span(samples, func(s Sample) float64 { return s.Permittivity })
	c.judge(samples, yy)
	return c, nil
}

func checkSamples(samples []Sample) error {
	if len(samples) < 2 {
		return fmt.Errorf("calibrate by %d samples: two at least are due", len(samples))
	}
	for i, s := range samples {
		if !(s.Permittivity > 0 && s.Permittivity <= mostPermittivity && s.Theta >= 0 && s.Theta <= 1) {
			return fmt.Errorf("calibrate by sample %d (permittivity %g, moisture %g): above 0 to %g, and 0 to 1, are due", i+1, s.Permittivity, s.Theta, mostPermittivity)
		}
	}
	low, high := span(samples, func(s Sample) float64 { return math.Sqrt(s.Permittivity) })
	dry, wet := span(samples, func(s Sample) float64 { return s.Theta })
	if high-low < leastRootSpan || wet-dry < leastThetaSpan {
		return fmt.Errorf("calibrate: the samples lie too near together; take them at least %g apart in moisture", leastThetaSpan)
	}
	return nil
}

func span(samples []Sample, of func(Sample) float64) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, s := range samples {
		low, high = min(low, of(s)), max(high, of(s))
	}
	return low, high
}

// judge fills in how well the line fits; yy is the samples' sum of squares.
func (c *Calibration) judge(samples []Sample, yy float64) {
	if c.N < 3 {
		return
	}
	rest := 0.0
	for _, s := range samples {
		r := s.Theta - c.A - c.B*math.Sqrt(s.Permittivity)
		rest += r * r
	}
	c.Judged = true
	c.R2 = 1 - rest/yy
	c.RMSE = math.Sqrt(rest / float64(c.N))
	c.Doubt = studentT(0.975, c.N-2) * math.Sqrt(rest/float64(c.N-2))
}

// Curve makes a calibration into a curve. It holds between the driest and the wettest
// sample; top is the pore space (m3/m3), 0 where it is not known.
func (c Calibration) Curve(name string, top float64) Curve {
	if !(top > 0 && top <= 1) {
		top = 1
	}
	return Curve{
		Name: name, Source: fmt.Sprintf("%d samples of this substrate", c.N), Standing: Measured, Material: Either,
		Low: c.Low, High: c.High, RangeStanding: Measured, Top: top, Doubt: c.Doubt, Own: true,
		form: rootLine, coef: [4]float64{c.A, c.B},
	}
}
