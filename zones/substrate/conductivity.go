package substrate

import (
	"fmt"
	"strconv"
	"strings"
)

// Conductivity is an electrical conductivity in dS/m, which is the same as mS/cm.
type Conductivity float64

// Unit is a unit of conductivity, spelled as SI does: m is milli, M is mega.
type Unit string

// The units.
const (
	DeciSiemensPerMetre       Unit = "dS/m"
	MilliSiemensPerCentimetre Unit = "mS/cm"
	MicroSiemensPerCentimetre Unit = "µS/cm"
	SiemensPerMetre           Unit = "S/m"
)

// In makes a conductivity of a value in a unit. It fails on an unknown unit, and on
// a value under 0 or not a number.
func (u Unit) In(value float64) (Conductivity, error) {
	if !(value >= 0 && value <= 1e9) {
		return 0, fmt.Errorf("take a conductivity of %g %s: 0 or more is due", value, string(u))
	}
	switch u {
	case DeciSiemensPerMetre, MilliSiemensPerCentimetre:
		return Conductivity(value), nil
	case MicroSiemensPerCentimetre:
		return Conductivity(value / 1000), nil
	case SiemensPerMetre:
		return Conductivity(value * 10), nil
	}
	return 0, fmt.Errorf("take a conductivity in %q: dS/m, mS/cm, µS/cm (or uS/cm) and S/m are known", string(u))
}

// In gives the conductivity in a unit. It fails on an unknown unit.
func (c Conductivity) In(u Unit) (float64, error) {
	switch u {
	case DeciSiemensPerMetre, MilliSiemensPerCentimetre:
		return float64(c), nil
	case MicroSiemensPerCentimetre:
		return float64(c) * 1000, nil
	case SiemensPerMetre:
		return float64(c) / 10, nil
	}
	return 0, fmt.Errorf("give a conductivity in %q: dS/m, mS/cm, µS/cm (or uS/cm) and S/m are known", string(u))
}

// ParseUnit reads a unit: dS/m, mS/cm, S/m, or µS/cm with either sign for micro or
// with u. Case counts, since ms is a millisecond and MS a megasiemens. It fails on
// anything else, mS/m among it: that is a hundredth of a dS/m and easily mistaken.
func ParseUnit(s string) (Unit, error) {
	switch s {
	case "dS/m", "mS/cm", "S/m":
		return Unit(s), nil
	case "\u00b5S/cm", "\u03bcS/cm", "uS/cm":
		return MicroSiemensPerCentimetre, nil
	}
	return "", fmt.Errorf("read unit %q: dS/m, mS/cm, µS/cm (or uS/cm) and S/m are known, case counts", s)
}

// ParseConductivity reads a value with its unit, as "1.8 mS/cm". A bare number fails:
// 1.8 is read as three different things by three different people.
func ParseConductivity(s string) (Conductivity, error) {
	text := strings.TrimSpace(s)
	at := strings.IndexFunc(text, func(r rune) bool { return !strings.ContainsRune("0123456789.", r) })
	if at <= 0 {
		return 0, fmt.Errorf("read conductivity %q: a number with its unit is due, as in 1.8 mS/cm", s)
	}
	value, err := strconv.ParseFloat(text[:at], 64)
	if err != nil {
		return 0, fmt.Errorf("read conductivity %q: %w", s, err)
	}
	u, err := ParseUnit(strings.TrimSpace(text[at:]))
	if err != nil {
		return 0, err
	}
	return u.In(value)
}
