package schedule

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// Words says the window in plain words: when, for what moisture, how much, how
// often. For example "from lights on + 1 h until lights on + 4 h, under 48 % up to
// 55 %, shots of 3 %, rest 15 min".
func (w *Window) Words() string {
	parts := []string{w.times(), w.moistures(), "shots of " + w.Shot.Words()}
	if w.Rest > 0 {
		parts = append(parts, "rest "+lasting(w.Rest))
	}
	if w.MaxShots == 1 {
		parts = append(parts, "one shot at most")
	}
	if w.MaxShots > 1 {
		parts = append(parts, fmt.Sprintf("%d shots at most", w.MaxShots))
	}
	if w.WithoutProbes {
		parts = append(parts, "also without probes")
	}
	return strings.Join(parts, ", ")
}

func (w *Window) times() string {
	if w.Cron != "" {
		return fmt.Sprintf("by cron %q for %s", w.Cron, lasting(w.For))
	}
	times := "from " + w.From.Words() + " until " + w.Until.Words()
	if w.On != 0 {
		return "on " + w.On.words() + " " + times
	}
	return times
}

func (w *Window) moistures() string {
	switch {
	case w.Timed():
		return "by time"
	case w.DryBack > 0 && w.Floor > 0:
		return fmt.Sprintf("after a fall of %s points or under %s %%", w.DryBack.words(), w.Floor.words())
	case w.DryBack > 0:
		return fmt.Sprintf("after a fall of %s points", w.DryBack.words())
	case w.Below > 0 && w.StopAt > 0:
		return fmt.Sprintf("under %s %% up to %s %%", w.Below.words(), w.StopAt.words())
	case w.Below > 0:
		return fmt.Sprintf("under %s %%", w.Below.words())
	default:
		return fmt.Sprintf("until %s %% is reached once", w.StopAt.words())
	}
}

// Words says the edge: "06:00", "lights on", "lights off - 2 h 30 min".
func (e Edge) Words() string {
	switch e.Anchor {
	case LightsOn:
		return "lights on" + signed(e.Offset)
	case LightsOff:
		return "lights off" + signed(e.Offset)
	default:
		return timeOfDay(e.Offset)
	}
}

// Words says the shot: "45 s", "120 mL a plant" or "3 %".
func (s Shot) Words() string {
	switch s.Kind {
	case BySeconds:
		return number(s.Value) + " s"
	case ByMillilitres:
		return number(s.Value) + " mL a plant"
	default:
		return number(s.Value) + " %"
	}
}

func (w Weekdays) words() string {
	var names []string
	for d := time.Sunday; d <= time.Saturday; d++ {
		if day := (d + time.Monday) % 7; w.Has(day) { // the week begins on Monday
			names = append(names, day.String())
		}
	}
	return strings.Join(names, ", ")
}

func (l Level) words() string { return number(l.Float()) }

// number writes at most three decimals and none that is not needed.
func number(v float64) string {
	return strconv.FormatFloat(math.Round(v*1000)/1000, 'f', -1, 64)
}

func signed(d time.Duration) string {
	switch {
	case d < 0:
		return " - " + lasting(-d)
	case d > 0:
		return " + " + lasting(d)
	default:
		return ""
	}
}

// timeOfDay writes 06:00, with seconds only where there are some.
func timeOfDay(d time.Duration) string {
	h, m, s := clockwise(d)
	if s == 0 {
		return fmt.Sprintf("%02d:%02d", h, m)
	}
	return fmt.Sprintf("%02d:%02d:%02d", h, m, s)
}

// lasting writes a duration in hours, minutes and seconds: "1 h 30 min", "45 s".
func lasting(d time.Duration) string {
	h, m, s := clockwise(d)
	var parts []string
	for _, p := range []struct {
		n    int
		unit string
	}{{h, "h"}, {m, "min"}, {s, "s"}} {
		if p.n > 0 {
			parts = append(parts, strconv.Itoa(p.n)+" "+p.unit)
		}
	}
	if len(parts) == 0 {
		return "0 s"
	}
	return strings.Join(parts, " ")
}

func clockwise(d time.Duration) (h, m, s int) {
	seconds := int(d.Round(time.Second) / time.Second)
	return seconds / 3600, seconds / 60 % 60, seconds % 60
}
