package main

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// defaultHold is how long a hold lasts that says no time.
const defaultHold = time.Hour

// durationFlag is a flag of a length of time over 0: Go's form ("90s", "1h30m"), with
// or without a blank before the unit, and "d" for days.
type durationFlag time.Duration

func (d *durationFlag) String() string {
	if *d == 0 {
		return ""
	}
	return time.Duration(*d).String()
}

func (d *durationFlag) Type() string { return "DURATION" }

func (d *durationFlag) Set(s string) error {
	text := strings.ReplaceAll(s, " ", "")
	v, err := time.ParseDuration(strings.ReplaceAll(text, "min", "m"))
	if days, ok := strings.CutSuffix(text, "d"); ok {
		var n int
		n, err = strconv.Atoi(days)
		v = time.Duration(n) * 24 * time.Hour
	}
	if err != nil || v <= 0 || v > 10*365*24*time.Hour {
		return fmt.Errorf("%q is no length of time: write it like 90s, 30m, 2h or 3d", s)
	}
	*d = durationFlag(v)
	return nil
}

// volumeFlag is a flag of a volume, kept in mL.
type volumeFlag float64

func (v *volumeFlag) String() string {
	if *v == 0 {
		return ""
	}
	return strconv.FormatFloat(float64(*v), 'g', -1, 64) + "mL"
}

func (v *volumeFlag) Type() string { return "VOLUME" }

// Units of volume in mL. A US liquid gallon is 231 cubic inches of 25.4 mm, a fluid
// ounce the 128th part of it (NIST Handbook 44, appendix C).
var volumes = []struct {
	unit string
	ml   float64
}{{"mL", 1}, {"ml", 1}, {"gal", 3785.411784}, {"floz", 3785.411784 / 128}, {"L", 1000}, {"l", 1000}}

func (v *volumeFlag) Set(s string) error {
	text := strings.ReplaceAll(s, " ", "")
	for _, u := range volumes {
		number, ok := strings.CutSuffix(text, u.unit)
		if !ok {
			continue
		}
		n, err := strconv.ParseFloat(number, 64)
		if err == nil && n > 0 && n < 1e6 {
			*v = volumeFlag(n * u.ml)
			return nil
		}
	}
	return fmt.Errorf("%q is no volume: write it like 120mL, 0.5L or 0.1gal", s)
}
