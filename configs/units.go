package configs

import "strings"

// dimension is what a quantity measures.
type dimension uint8

const (
	timeSpan     dimension = iota // base unit: s
	length                        // m
	volume                        // mL
	flow                          // L/h
	area                          // m2
	voltage                       // V
	current                       // A
	apparent                      // VA
	gauge                         // AWG
	crossSection                  // mm2
	percentage                    // %
	points                        // points
	density                       // g/cm3
	mass                          // kg
	conductivity                  // mS/cm
	temperature                   // C
)

// dimensionWords name the dimensions in sentences.
var dimensionWords = [...]string{"a time", "a length", "a volume", "a flow", "an area", "a voltage", "a current",
	"a transformer rating", "a wire gauge", "a wire cross-section", "a percentage", "a difference in points",
	"a density", "a weight", "a conductivity", "a temperature"}

func (d dimension) String() string { return dimensionWords[d] }

// unit is one unit; a quantity in it times num/den is one in the base unit.
// Exact: the international foot is 0.3048 m (1959), the US gallon 231 cubic
// inches, which is 3.785411784 L (NIST SP 811, appendix B).
type unit struct {
	dim      dimension
	num, den int64
}

var units = map[string]unit{
	"s":   {timeSpan, 1, 1},
	"min": {timeSpan, 60, 1},
	"h":   {timeSpan, 3600, 1},
	"d":   {timeSpan, 86400, 1}, "day": {timeSpan, 86400, 1}, "days": {timeSpan, 86400, 1},
	"m": {length, 1, 1}, "cm": {length, 1, 100}, "mm": {length, 1, 1000},
	"ft": {length, 3048, 10000}, "in": {length, 254, 10000},
	"mL": {volume, 1, 1}, "ml": {volume, 1, 1}, "L": {volume, 1000, 1}, "l": {volume, 1000, 1},
	"gal": {volume, 3785411784, 1000000},
	"L/h": {flow, 1, 1}, "l/h": {flow, 1, 1}, "L/min": {flow, 60, 1}, "l/min": {flow, 60, 1},
	"mL/h": {flow, 1, 1000}, "mL/min": {flow, 60, 1000},
	"gal/h": {flow, 3785411784, 1000000000}, "gal/min": {flow, 60 * 3785411784, 1000000000},
	"sqft": {area, 9290304, 100000000}, "m2": {area, 1, 1},
	"V": {voltage, 1, 1}, "A": {current, 1, 1}, "mA": {current, 1, 1000}, "VA": {apparent, 1, 1},
	"AWG": {gauge, 1, 1}, "mm2": {crossSection, 1, 1},
	"%": {percentage, 1, 1}, "points": {points, 1, 1}, "point": {points, 1, 1},
	"g/cm3": {density, 1, 1}, "kg/L": {density, 1, 1}, "kg": {mass, 1, 1}, "g": {mass, 1, 1000},
	"mS/cm": {conductivity, 1, 1}, "C": {temperature, 1, 1},
}

// unitOrder gives the units in the order in which hints and schemas name them.
var unitOrder = [...]string{"s", "min", "h", "d", "day", "days", "mm", "cm", "m", "in", "ft", "mL", "ml", "L", "l", "gal",
	"mL/h", "mL/min", "L/h", "l/h", "L/min", "l/min", "gal/h", "gal/min", "m2", "sqft", "V", "mA", "A", "VA", "AWG", "mm2",
	"%", "point", "points", "g/cm3", "kg/L", "g", "kg", "mS/cm", "C"}

// spellings are other ways in which people write a unit; they are refused, but the
// hint knows what was meant.
var spellings = map[string]string{
	"sec": "s", "secs": "s", "second": "s", "seconds": "s", "mins": "min", "minute": "min", "minutes": "min",
	"hr": "h", "hrs": "h", "hour": "h", "hours": "h", "dy": "d",
	"foot": "ft", "feet": "ft", "'": "ft", "inch": "in", "inches": "in", "\"": "in", "meter": "m", "metre": "m",
	"meters": "m", "metres": "m", "litre": "L", "liter": "L", "litres": "L", "liters": "L", "ltr": "L", "cc": "mL",
	"gallon": "gal", "gallons": "gal", "gph": "gal/h", "gpm": "gal/min", "lph": "L/h", "lpm": "L/min", "l/hr": "L/h",
	"gal/hr": "gal/h", "sq ft": "sqft", "ft2": "sqft", "ft²": "sqft", "sqm": "m2", "m²": "m2", "sq m": "m2",
	"volt": "V", "volts": "V", "amp": "A", "amps": "A", "awg": "AWG", "ga": "AWG", "mm²": "mm2", "sqmm": "mm2",
	"percent": "%", "pct": "%", "pt": "points", "pts": "points", "ds/m": "mS/cm", "ms/cm": "mS/cm",
	"°c": "C", "degc": "C", "va": "VA", "v": "V", "a": "A", "ma": "mA", "gal/minute": "gal/min", "l/minute": "L/min",
}

// meant gives the unit that a spelling stands for, among those of a dimension.
func meant(written string, dims []dimension) (string, bool) {
	name, ok := spellings[strings.ToLower(written)]
	if !ok {
		for _, u := range unitOrder {
			if strings.EqualFold(u, written) {
				name, ok = u, true
				break
			}
		}
	}
	if !ok {
		return "", false
	}
	for _, d := range dims {
		if units[name].dim == d {
			return name, true
		}
	}
	return "", false
}

// unitsOf lists the units of a dimension, without second spellings.
func unitsOf(d dimension) []string {
	var out []string
	for _, u := range unitOrder {
		if units[u].dim == d {
			out = append(out, u)
		}
	}
	return out
}
