package handover

import (
	"fmt"
	"strings"
	"time"

	"rillgate/zones/substrate"
)

// span writes a length of time: "2 min 55 s".
func span(d time.Duration) string {
	var parts []string
	for _, u := range []struct {
		d    time.Duration
		name string
	}{{time.Hour, "h"}, {time.Minute, "min"}, {time.Second, "s"}} {
		if n := d / u.d; n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, u.name))
			d -= n * u.d
		}
	}
	if len(parts) == 0 {
		return "0 s"
	}
	return strings.Join(parts, " ")
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// writing is how a room's numbers are shown.
type writing struct {
	loc *time.Location
	us  bool
}

func (w writing) volume(litres float64) string {
	switch {
	case litres <= 0:
		return "not known"
	case w.us:
		return fmt.Sprintf("%.1f gal (%.1f L)", litres/substrate.LitresPerUSGallon, litres)
	}
	return fmt.Sprintf("%.1f L", litres)
}

func (w writing) clock(t time.Time) string { return t.In(w.loc).Format("15:04") }

// mostTimes is how many times stand one by one.
const mostTimes = 10

func (w writing) times(s *Shots) string {
	switch {
	case len(s.Times) == 0:
		text := "between " + w.clock(s.From) + " and " + w.clock(s.Until)
		if s.Apart > 0 && s.Count > 1 {
			text += ", " + span(s.Apart) + " apart at least"
		}
		return text
	case len(s.Times) > mostTimes:
		apart := s.Until.Sub(s.From) / time.Duration(s.Count-1)
		return fmt.Sprintf("from %s to %s, about every %s", w.clock(s.From), w.clock(s.Until), span(max(apart.Round(time.Minute), time.Minute)))
	}
	out := make([]string, len(s.Times))
	for i, t := range s.Times {
		out[i] = w.clock(t)
	}
	return strings.Join(out, ", ")
}
