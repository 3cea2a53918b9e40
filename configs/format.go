package configs

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"rillgate/zones"
)

// timeWords gives a time as the files write it: "6 min", "1 min 30 s", "117 s".
func timeWords(d time.Duration) string {
	if d < 0 {
		return "-" + timeWords(-d)
	}
	if d < 2*time.Minute || d%time.Second != 0 {
		return trimZeros(strconv.FormatFloat(d.Seconds(), 'f', 1, 64)) + " s"
	}
	var parts []string
	for _, u := range []struct {
		d    time.Duration
		name string
	}{{24 * time.Hour, "d"}, {time.Hour, "h"}, {time.Minute, "min"}, {time.Second, "s"}} {
		if n := d / u.d; n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, u.name))
			d -= n * u.d
		}
	}
	return strings.Join(parts, " ")
}

func trimZeros(s string) string {
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// levelWords gives a moisture: "46.2 %".
func levelWords(l zones.Level) string { return levelNumber(l) + " %" }

// pointWords gives a difference of moistures: "3 points".
func pointWords(l zones.Level) string { return levelNumber(l) + " points" }

func levelNumber(l zones.Level) string {
	return trimZeros(strconv.FormatFloat(l.Float(), 'f', 3, 64))
}

func (c *checker) lengthWords(m float64) string {
	if c.room.units.v == "us" {
		return fmt.Sprintf("%.4g ft", m/0.3048)
	}
	return fmt.Sprintf("%.4g m", m)
}

func (c *checker) areaWords(m2 float64) string {
	if c.room.units.v == "us" {
		return fmt.Sprintf("%.4g sqft", m2/0.09290304)
	}
	return fmt.Sprintf("%.4g m2", m2)
}
