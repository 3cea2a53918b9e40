package substrate

import (
	"fmt"
	"math"
)

// Material says what a curve was made for.
type Material string

// The materials.
const (
	Mineral Material = "mineral"
	Organic Material = "organic"
	Either  Material = "mineral or organic"
)

// Permittivities that no substrate has, and the one under which a probe is as good
// as in air, which reads 1 (the limits are ours).
const (
	mostPermittivity = 100.0
	airPermittivity  = 2.0
)

// assumedCelsius stands in where a curve needs a temperature and none came.
const assumedCelsius = 20.0

// Curve leads from permittivity to water content. It rises over its whole range.
type Curve struct {
	Name          string
	Source        string
	Standing      Standing // of the formula
	Material      Material
	Low, High     float64  // permittivities for which it holds
	RangeStanding Standing // of Low and High
	Top           float64  // the most water it may give: pore space, m3/m3
	Doubt         float64  // half-width at 95 % or accuracy as the source gives it, m3/m3; 0 = not known
	Own           bool     // a calibration of this very substrate
	Thermal       bool     // asks for the temperature
	form          form
	coef          [4]float64
}

// form is the shape of a curve's formula. A curve is plain data, so that two can be
// compared.
type form uint8

const (
	polynomial form = iota + 1 // of the third degree in permittivity
	rootLine                   // coef 0 + coef 1 x root of permittivity
	rootMixing                 // (root of permittivity - coef 0) / (root of water's - 1)
)

// formula gives the water content at a permittivity, of a curve that is not empty.
func (c *Curve) formula(k, celsius float64) float64 {
	switch c.form {
	case polynomial:
		return cubic(k, c.coef[0], c.coef[1], c.coef[2], c.coef[3])
	case rootLine:
		return c.coef[0] + c.coef[1]*math.Sqrt(k)
	}
	return (math.Sqrt(k) - c.coef[0]) / (math.Sqrt(waterAt(celsius)) - 1)
}

// Moisture gives the water content at a permittivity. celsius is read by thermal
// curves only, NaN where unknown. Out of its range the curve is asked at the nearer
// edge and the answer is flagged. It fails on what no substrate can have: a
// permittivity that is not a number, not above 0 or over 100.
func (c *Curve) Moisture(k, celsius float64) (Moisture, error) {
	if !(k > 0 && k <= mostPermittivity) {
		return Moisture{}, fmt.Errorf("convert permittivity %g by %s: above 0 to %g is due; check the probe's unit and wiring", k, c.Name, mostPermittivity)
	}
	celsius, flags, err := c.at(celsius)
	if err != nil {
		return Moisture{}, err
	}
	m := Moisture{
		Theta: c.formula(min(max(k, c.Low), c.High), celsius),
		Flags: flags | c.judge(k),
	}
	return m.shifted(0, c.Top), nil
}

// at gives the temperature to ask the curve at, and a flag where it is assumed. It
// fails on the zero Curve.
func (c *Curve) at(celsius float64) (float64, Flags, error) {
	if c.form == 0 {
		return 0, 0, fmt.Errorf("use curve %q: it is empty; take one that this package gives", c.Name)
	}
	if !c.Thermal {
		return celsius, 0, nil
	}
	if math.IsNaN(celsius) {
		return assumedCelsius, TemperatureAssumed, nil
	}
	if err := checkCelsius(celsius); err != nil {
		return 0, 0, fmt.Errorf("use curve %s: %w", c.Name, err)
	}
	return celsius, 0, nil
}

func (c *Curve) judge(k float64) (f Flags) {
	if !c.Own {
		f |= Uncalibrated
	}
	if k < airPermittivity {
		f |= NearAir
	}
	if k < c.Low {
		f |= BelowRange
	}
	if k > c.High {
		f |= AboveRange
	}
	return f
}

// Permittivity gives the permittivity at which the curve gives theta, by halving its
// range; celsius is as in Moisture. It fails where the range does not reach theta.
func (c *Curve) Permittivity(theta, celsius float64) (float64, error) {
	celsius, _, err := c.at(celsius)
	if err != nil {
		return 0, err
	}
	low, high := c.Low, c.High
	from, to := c.formula(low, celsius), c.formula(high, celsius)
	if !(theta >= from && theta <= to) {
		return 0, fmt.Errorf("invert %s at %g: it reaches from %.4f to %.4f", c.Name, theta, from, to)
	}
	for range 60 {
		if mid := (low + high) / 2; c.formula(mid, celsius) < theta {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2, nil
}
