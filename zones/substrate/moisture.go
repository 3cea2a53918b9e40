package substrate

import (
	"fmt"
	"math"
	"strings"
)

// Flags says what is wrong with a moisture, or what it leans on.
type Flags uint8

// The flags.
const (
	BelowRange         Flags = 1 << iota // the permittivity is under the curve's range: the moisture is an upper bound
	AboveRange                           // it is over it: the moisture is a lower bound
	UnderZero                            // the formula gave less than no water; 0 stands
	OverPores                            // it gave more than the pores hold; the porosity stands
	NearAir                              // as good as in air: bone dry, or the probe slipped out
	TemperatureAssumed                   // the curve needs a temperature, none came, 20 °C was taken
	Uncalibrated                         // a curve from the literature, not one of this substrate
)

// bounded are the flags under which a moisture is a bound and no measurement.
const bounded = BelowRange | AboveRange | UnderZero | OverPores | NearAir

func flagWord(f Flags) string {
	switch f {
	case BelowRange:
		return "below the curve's range"
	case AboveRange:
		return "above the curve's range"
	case UnderZero:
		return "less than no water"
	case OverPores:
		return "more than the pores hold"
	case NearAir:
		return "as good as in air"
	case TemperatureAssumed:
		return "20 °C assumed"
	}
	return "not calibrated"
}

// String gives the flags in words, "" for none.
func (f Flags) String() string {
	var words []string
	for bit := BelowRange; bit <= Uncalibrated; bit <<= 1 {
		if f&bit != 0 {
			words = append(words, flagWord(bit))
		}
	}
	return strings.Join(words, ", ")
}

// Moisture is a water content from 0 to 1, and what is to be known about it.
type Moisture struct {
	Theta float64
	Flags Flags
}

// Bounded reports whether Theta is only a bound: nothing may be watered by it.
func (m Moisture) Bounded() bool { return m.Flags&bounded != 0 }

// Signal is what a probe sends. A quantity that it does not send is NaN.
type Signal struct {
	Moisture     float64 // 0 to 1
	Permittivity float64
	Celsius      float64
}

// MaxOffset is the largest offset of a probe, m3/m3 (chosen here). A probe that is
// further off needs a calibration.
const MaxOffset = 0.15

// Read gives the water content behind a signal. A moisture that the probe sends
// is taken as it is; else the curve is asked. The probe's own offset (m3/m3) is added
// to either, and what it leads out of 0 to 1, or over the pores, is clamped and
// flagged. It fails without a usable signal, and on an offset beyond MaxOffset.
func (s Signal) Read(c *Curve, offset float64) (Moisture, error) {
	if !(math.Abs(offset) <= MaxOffset) {
		return Moisture{}, fmt.Errorf("add an offset of %g: at most %g either way; calibrate the probe instead", offset, MaxOffset)
	}
	if math.IsNaN(s.Moisture) {
		m, err := c.Moisture(s.Permittivity, s.Celsius)
		if err != nil {
			return Moisture{}, err
		}
		return m.shifted(offset, c.Top), nil
	}
	if !(s.Moisture >= 0 && s.Moisture <= 1) {
		return Moisture{}, fmt.Errorf("take a moisture of %g: 0 to 1 is due", s.Moisture)
	}
	return Moisture{Theta: s.Moisture}.shifted(offset, 1), nil
}

// shifted adds an offset and clamps.
func (m Moisture) shifted(offset, top float64) Moisture {
	m.Theta += offset
	switch {
	case m.Theta < 0:
		m.Theta, m.Flags = 0, m.Flags|UnderZero
	case m.Theta > top:
		m.Theta, m.Flags = top, m.Flags|OverPores
	}
	return m
}
