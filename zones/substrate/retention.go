package substrate

import (
	"fmt"
	"math"
)

// CentimetresPerKPa is the height of a water column of 1 kPa, cm.
const CentimetresPerKPa = 10.19716

// Retention is a water retention curve after van Genuchten 1980, Soil Sci. Soc. Am. J.
// 44:892-898, with m = 1 - 1/n.
type Retention struct {
	ThetaR, ThetaS float64 // residual and saturated water content, m3/m3
	Alpha          float64 // 1/cm
	N              float64 // above 1
}

// Check fails on parameters that describe no substrate.
func (r Retention) Check() error {
	if !(r.ThetaR >= 0 && r.ThetaR < r.ThetaS && r.ThetaS <= 1 && r.Alpha > 0 && r.Alpha <= 100 && r.N > 1 && r.N <= 20) {
		return fmt.Errorf("use a retention curve of %+v: 0 <= residual < saturated <= 1, alpha above 0 to 100 1/cm and n above 1 to 20 are due", r)
	}
	return nil
}

// Theta gives the water content at a suction in cm of water; under 0 counts as 0.
func (r Retention) Theta(suctionCM float64) float64 {
	x := math.Pow(r.Alpha*max(0, suctionCM), r.N)
	return r.ThetaR + (r.ThetaS-r.ThetaR)*math.Pow(1+x, 1/r.N-1)
}

// cuts of a container: Simpson's rule over so many is good to 1e-4 for every n
// above 1.
const cuts = 400

// Capacity gives the container capacity: the water that a straight-walled container
// of a height in cm holds after drainage, as a mean over the height. Suction is 0 at
// the bottom and grows by 1 cm a cm (the equilibrium model of Milks, Fonteno & Larson
// 1989, J. Am. Soc. Hort. Sci. 114:53-56). It fails unless the height is above 0 to
// 200 cm and the curve passes Check.
func (r Retention) Capacity(heightCM float64) (float64, error) {
	if err := r.Check(); err != nil {
		return 0, err
	}
	if !(heightCM > 0 && heightCM <= 200) {
		return 0, fmt.Errorf("reckon the capacity of a container %g cm high: above 0 to 200 cm is due", heightCM)
	}
	sum := r.Theta(0) + r.Theta(heightCM)
	for i := 1; i < cuts; i++ {
		weight := 2.0
		if i%2 == 1 {
			weight = 4
		}
		sum += weight * r.Theta(heightCM*float64(i)/cuts)
	}
	return sum / (3 * cuts), nil
}

// Container is what a medium holds in a container of one height, m3/m3.
type Container struct {
	Capacity float64 // water after drainage
	AirSpace float64 // pores less that water
}

// In gives what the medium holds in a straight-walled container of a height in cm.
// It fails as Capacity does.
func (r Retention) In(heightCM float64) (Container, error) {
	c, err := r.Capacity(heightCM)
	return Container{Capacity: c, AirSpace: r.ThetaS - c}, err
}

// Available is the water of a medium by the suction that holds it, m3/m3, after De
// Boodt & Verdonck 1972, Acta Hort. 26:37-44 (the limits from memory: air 0.20 to
// 0.30, easily available 0.20 to 0.30, buffer 0.04 to 0.10).
type Available struct {
	Air    float64 // pores less water at 1 kPa
	Easily float64 // given up from 1 to 5 kPa
	Buffer float64 // given up from 5 to 10 kPa
}

// Available gives the medium's water by suction.
func (r Retention) Available() Available {
	one, five, ten := r.Theta(CentimetresPerKPa), r.Theta(5*CentimetresPerKPa), r.Theta(10*CentimetresPerKPa)
	return Available{Air: r.ThetaS - one, Easily: one - five, Buffer: five - ten}
}
