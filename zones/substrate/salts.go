package substrate

import (
	"errors"
	"fmt"
)

// PerDegree is how much conductivity rises a °C, as a share of its value at 25 °C;
// texts give 0.019 to 0.022 (e.g. Hayashi 2004, Environ. Monit. Assess. 96:119-128).
const PerDegree = 0.02

// At25 gives what a conductivity measured at a temperature (0 to 50 °C) would be at
// 25 °C: EC / (1 + 0.02 (T - 25)). It fails beyond these temperatures. A probe that
// compensates by itself must not be compensated again.
func (c Conductivity) At25(celsius float64) (Conductivity, error) {
	if err := checkCelsius(celsius); err != nil {
		return 0, fmt.Errorf("bring conductivity to 25 °C: %w", err)
	}
	return c / Conductivity(1+PerDegree*(celsius-25)), nil
}

// ErrDry says that a substrate is too dry to tell its pore water's conductivity.
var ErrDry = errors.New("too dry to tell the conductivity of pore water")

// Under these a substrate is dry: water content (from memory and reported by others
// as the limit of the method), and permittivity above the offset (ours).
const (
	dryTheta        = 0.10
	leastAboveShift = 6.0
)

// MeanOffset is the offset of Hilhorst's formula where the substrate's own is not
// known: 4.1, a mean over soils from 1.9 to 7.6 (from memory).
const MeanOffset = 4.1

// Bulk is what a probe measures of salts, all at one place and time.
type Bulk struct {
	EC           Conductivity // of the bulk, as measured, or brought to 25 °C
	Permittivity float64
	Celsius      float64 // of the substrate, 0 to 50
	Theta        float64 // water content, 0 to 1
}

// PoreEC gives the conductivity of the pore water after Hilhorst 2000, Soil Sci. Soc.
// Am. J. 64:1922-1925: permittivity of water x bulk EC / (permittivity - offset), at
// the temperature for which the bulk's EC stands; bring either to 25 °C, never both.
// offset belongs to the substrate, 0 to 10. It fails with ErrDry in a dry substrate,
// where the formula runs away, and on a signal that makes no sense. Claimed accuracy
// is about 20 % (from memory).
func PoreEC(b Bulk, offset float64) (Conductivity, error) {
	if !(b.EC > 0 && b.EC <= 100) {
		return 0, fmt.Errorf("reckon pore EC from a bulk EC of %g dS/m: above 0 to 100 is due", float64(b.EC))
	}
	if !(offset >= 0 && offset <= 10) {
		return 0, fmt.Errorf("reckon pore EC with an offset of %g: 0 to 10 is due", offset)
	}
	if !(b.Theta >= 0 && b.Theta <= 1 && b.Permittivity > 0 && b.Permittivity <= mostPermittivity) {
		return 0, fmt.Errorf("reckon pore EC at moisture %g, permittivity %g: 0 to 1, and above 0 to %g, are due", b.Theta, b.Permittivity, mostPermittivity)
	}
	water, err := LinearWater.Permittivity(b.Celsius)
	if err != nil {
		return 0, fmt.Errorf("reckon pore EC: %w", err)
	}
	above := b.Permittivity - offset
	if b.Theta < dryTheta || above < leastAboveShift {
		return 0, fmt.Errorf("%w: moisture %.1f %% (%g %% is due), permittivity %g (%g is due)", ErrDry, 100*b.Theta, 100*dryTheta, b.Permittivity, offset+leastAboveShift)
	}
	return Conductivity(water/above) * b.EC, nil
}
