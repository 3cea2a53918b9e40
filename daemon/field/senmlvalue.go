package field

import (
	"math"
	"unicode"

	"rillgate/zones"
)

const maxSerial = 64

// scale is how a quantity comes: its unit (RFC 8428, section 12.1) and its range,
// ends included. The ranges but moisture's are wide on purpose (common practice,
// no source): they only tell a wrong unit or a broken wire from a value.
type scale struct {
	name     string
	unit     string
	lo, hi   float64
	ask      string // what is due, for hints
	mistaken string // a unit that is often sent instead
	remedy   string // what to do about it
}

func scaleOf(q quantity) scale {
	switch q {
	case moisture:
		return scale{"moisture", "/", 0, 1, "0 to 1", "%", "46.2 % is 0.462"}
	case permittivity:
		return scale{"permittivity", "/", 1, 100, "1 to 100", "", ""}
	case conductivity:
		return scale{"ec", "S/m", 0, 10, "0 to 10", "mS/cm", "1.8 mS/cm is 0.18 S/m"}
	default:
		return scale{"temperature", "Cel", -60, 120, "-60 to 120", "C", "degrees Celsius are written Cel"}
	}
}

// set checks a record's value and puts it into the reading.
func (d *packDecoder) set(reading *zones.Reading, q quantity, r *record) *Fault {
	if q == serial {
		return setSerial(reading, r)
	}
	v, f := d.measured(scaleOf(q), r)
	if f != nil {
		return f
	}
	switch q {
	case moisture:
		reading.Moisture, reading.HasMoisture = zones.Level(math.Round(v*100_000)), true
	case permittivity:
		reading.Permittivity = v
	case conductivity:
		reading.EC = math.Round(v*1e7) / 1e6 // mS/cm; the last digits are the float's, not the probe's
	case temperature:
		reading.Temperature = v
	}
	return nil
}

// measured gives a record's number with the base value added, in its unit.
func (d *packDecoder) measured(s scale, r *record) (float64, *Fault) {
	if r.seen&valueLabels != labelV {
		return 0, fault(causeValue, "%s carries no number: v, and nothing beside it, is due", s.name)
	}
	v := r.value + d.base.value
	unit := r.unit
	if r.seen&labelU == 0 {
		unit = d.base.unit
	}
	if string(unit) != s.unit {
		return 0, s.wrongUnit(v, unit)
	}
	if !(v >= s.lo && v <= s.hi) {
		return 0, fault(causeValue, "%s with unit %s: %s is due", number(v), s.unit, s.ask)
	}
	return v, nil
}

func (s scale) wrongUnit(v float64, unit []byte) *Fault {
	switch {
	case len(unit) == 0:
		return fault(causeUnit, "%s without unit: %s is due", s.name, s.unit)
	case string(unit) == s.mistaken:
		return fault(causeUnit, "%s with unit %s: unit %s is due, %s (%s)", number(v), s.mistaken, s.unit, s.ask, s.remedy)
	}
	return fault(causeUnit, "%s with unit %q: unit %s is due, %s", s.name, cut(string(unit), 20), s.unit, s.ask)
}

func setSerial(reading *zones.Reading, r *record) *Fault {
	if r.seen&valueLabels != labelVS {
		return fault(causeValue, "serial carries no string: vs, and nothing beside it, is due")
	}
	if len(r.text) > maxSerial {
		return fault(causeValue, "serial of %d bytes: at most %d are taken", len(r.text), maxSerial)
	}
	for _, c := range string(r.text) {
		if !unicode.IsPrint(c) {
			return fault(causeValue, "serial %q: printable characters are due", r.text)
		}
	}
	reading.Serial = string(r.text)
	return nil
}
