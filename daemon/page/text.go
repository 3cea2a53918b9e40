package page

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

const (
	notKnown    = "not known"
	litresInGal = 3.785411784 // US gallon, exactly: 231 cubic inches of 25.4 mm (NIST Handbook 44, appendix C)
)

// writing says how numbers and times are shown in this room.
type writing struct {
	loc *time.Location
	us  bool
	now time.Time
}

func known(x *float64) bool { return x != nil && !math.IsNaN(*x) && !math.IsInf(*x, 0) }

// figure writes a number with a unit, or that it is not known.
func figure(x *float64, decimals int, unit string) string {
	if !known(x) {
		return notKnown
	}
	return strconv.FormatFloat(*x, 'f', decimals, 64) + " " + unit
}

func (w writing) litres(l float64) string {
	if w.us {
		return figure(ptrTo(l/litresInGal), 1, "gal")
	}
	return figure(&l, 1, "L")
}

func (w writing) flow(lpm *float64) string {
	if known(lpm) && w.us {
		return figure(ptrTo(*lpm/litresInGal), 1, "gal/min")
	}
	return figure(lpm, 1, "L/min")
}

func (w writing) temperature(c *float64) string {
	if known(c) && w.us {
		return figure(ptrTo(*c*9/5+32), 1, "°F")
	}
	return figure(c, 1, "°C")
}

// clock writes an instant in the room's zone, with the day when it is not today.
func (w writing) clock(t time.Time) string {
	if t.IsZero() {
		return notKnown
	}
	t, now := t.In(w.loc), w.now.In(w.loc)
	if t.Format(time.DateOnly) == now.Format(time.DateOnly) {
		return t.Format("15:04")
	}
	if d := t.Sub(now); d > -6*24*time.Hour && d < 6*24*time.Hour {
		return t.Format("Mon 15:04")
	}
	return t.Format("2006-01-02 15:04")
}

// span writes a length of time in its two largest units.
func span(d time.Duration) string {
	if d < 0 {
		d = 0
	}
	d = d.Round(time.Second)
	h, m, s := int(d/time.Hour), int(d/time.Minute)%60, int(d/time.Second)%60
	var parts []string
	switch {
	case h >= 48:
		parts = append(parts, plural(h/24, "day"))
		if h%24 > 0 {
			parts = append(parts, fmt.Sprintf("%d h", h%24))
		}
	case h > 0:
		parts = append(parts, fmt.Sprintf("%d h", h))
		if m > 0 {
			parts = append(parts, fmt.Sprintf("%d min", m))
		}
	case m > 0:
		parts = append(parts, fmt.Sprintf("%d min", m))
		if s > 0 {
			parts = append(parts, fmt.Sprintf("%d s", s))
		}
	default:
		parts = append(parts, fmt.Sprintf("%d s", s))
	}
	return strings.Join(parts, " ")
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

func age(n *int) string {
	if n == nil {
		return "never heard"
	}
	return span(time.Duration(*n)*time.Second) + " ago"
}

func plural(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + one + "s"
}

func ptrTo(x float64) *float64 { return &x }

func orElse(s, other string) string {
	if s == "" {
		return other
	}
	return s
}
