package wiring

import (
	"fmt"
	"strconv"
	"strings"
)

// Exact: the international foot is 0.3048 m, a square foot 0.09290304 m2
// (NIST SP 811, appendix B).
const (
	metresPerFoot       = 0.3048
	squareMetresPerSqft = 0.09290304
)

// Length gives a length in the room's units, to a tenth: "76.4 ft", "23.3 m".
func Length(m float64, us bool) string {
	if us {
		return decimals(m/metresPerFoot, 1) + " ft"
	}
	return decimals(m, 1) + " m"
}

// Area gives an area in the room's units: "100 sqft", "9.3 m2".
func Area(m2 float64, us bool) string {
	if us {
		return decimals(m2/squareMetresPerSqft, 0) + " sqft"
	}
	return decimals(m2, 1) + " m2"
}

// Measure gives an amount with up to some decimals and a unit, or "not known".
func (a Amount) Measure(places int, unit string) string {
	if !a.known {
		return "not known"
	}
	return decimals(a.value, places) + " " + unit
}

// Length gives an amount of metres in the room's units, or "not given".
func (a Amount) Length(us bool) string {
	if !a.known {
		return "not given"
	}
	return Length(a.value, us)
}

// decimals rounds and leaves out zeros at the end.
func decimals(v float64, places int) string {
	s := strconv.FormatFloat(v, 'f', places, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		return "0"
	}
	return s
}

func percent(share float64) string { return fmt.Sprintf("%.1f %%", share*100) }
