package operator

import (
	"fmt"
	"strings"
	"time"

	"rillgate/zones"
)

// valve tells what the state of a valve rests on.
func (e *Evidence) valve(y *Why, v *zones.ValveEvidence) {
	y.number("supply", orNone(v.Supply))
	if !e.Dead {
		e.word(y, v, "open", "closed")
	}
	e.lastRun(y)
	for _, s := range v.Day {
		if v.Spent {
			y.number(s.Kind+", 24 h", fmt.Sprintf("counts as spent, all %.0f s: what it gave is not known", s.Limit))
			continue
		}
		y.number(s.Kind+", 24 h", fmt.Sprintf("%.0f of %.0f s used", s.Seconds, s.Limit))
	}
	if v.MaxRunS > 0 {
		y.number("max_run", fmt.Sprintf("%.0f s", v.MaxRunS))
	}
	if v.RestsTo != nil {
		y.number("rests until", e.at(v.RestsTo))
	}
	if v.LastEnd != nil {
		y.number("last given water", "until "+e.at(v.LastEnd))
	}
	y.latches(v.Latches)
	if v.Spent {
		y.warn("its budget counts as spent; `rillgate reset budget ZONE` frees it when you know what the plants had")
	}
}

// word tells what was commanded, what the controller says, and how long a grant reaches, in
// the output's own words for its two states.
func (e *Evidence) word(y *Why, v *zones.ValveEvidence, on, off string) {
	switch {
	case v.ToldAt == nil:
		y.number("commanded", "nothing yet, by this process")
	case v.ToldOpen:
		y.number("commanded", fmt.Sprintf("%s at %s, run %s", on, e.at(v.ToldAt), v.Run))
	default:
		y.number("commanded", fmt.Sprintf("%s at %s (%s), run %s", off, e.at(v.ToldAt), orNone(string(v.ToldWhy)), v.Run))
	}
	switch {
	case v.ReportedAt == nil:
		y.number("last report", "none that names it, since its controller's start")
	default:
		y.number("last report", fmt.Sprintf("%s, at %s", map[bool]string{true: on, false: off}[v.ReportedOpen], e.at(v.ReportedAt)))
		y.number("obeyed", map[bool]string{true: "a report after the last command shows it so", false: "no report after the last command shows it so"}[v.Obeyed])
	}
	switch {
	case v.GrantUntil == nil:
		y.number("grant", "none was given by this process")
	case v.Granted && v.ToldOpen:
		y.number("grant", "runs out "+e.at(v.GrantUntil)+", unless it is renewed")
	case v.Granted:
		y.number("grant", "would have run out "+e.at(v.GrantUntil)+"; it was let go before")
	default:
		y.number("grant", "the last one ran out "+e.at(v.GrantUntil))
	}
}

// lastRun tells the last run of the valve's zone.
func (e *Evidence) lastRun(y *Why) {
	name, of := "last run", ""
	if e.Valve != nil && e.Valve.Master {
		name = "last run through it"
	}
	switch {
	case e.Valve != nil && e.Valve.Master && len(e.Valve.Serves) == 0:
		y.number(name, "no zone is on its supply")
		return
	case e.Valve == nil || len(e.Lines) == 0:
		if e.Valve != nil && e.Valve.Master {
			of = " of " + strings.Join(e.Valve.Serves, ", ")
		}
		y.number(name, "the journal knows none"+of)
		return
	}
	for i := range e.Lines {
		l := &e.Lines[i]
		switch l.Kind {
		case "run-opened":
			if e.Valve.Master {
				of = " of zone " + l.Zone
			}
			y.number(name, fmt.Sprintf("%s%s opened %s (%s): %s", l.Run, of, e.clock(l.At), l.Reason, l.Because))
		case "run-closed":
			text := fmt.Sprintf("after %s (%s): %s", (time.Duration(l.Seconds * float64(time.Second))).Round(100*time.Millisecond), l.Reason, l.Because)
			if l.Litres > 0 {
				text += fmt.Sprintf("; %.1f L for the zone", l.Litres)
			}
			y.number("it ended", text)
		}
	}
}

// zoneOf names a valve's zone, or of a master what it opens for.
func zoneOf(v *zones.View, l *zones.ValveView) string {
	for i := range v.Supplies {
		if s := &v.Supplies[i]; l.Master && s.Master == l.ID {
			return fmt.Sprintf("none: it is the master of supply %s, and opens with the valves of %s", s.ID, orNone(strings.Join(s.Zones, ", ")))
		}
	}
	return l.Zone
}

// holds says what keeps a valve closed now: the word of its zone.
func holds(y *Why, v *zones.View, zone string) {
	for i := range v.Zones {
		z := &v.Zones[i]
		if z.ID != zone || z.State == zones.Watering {
			continue
		}
		text := fmt.Sprintf("zone %s is %s: %s", z.ID, z.State, z.Because)
		if z.Reason != "" && z.Reason != zones.NoReason {
			text = fmt.Sprintf("zone %s is %s (%s): %s", z.ID, z.State, z.Reason, z.Because)
		}
		y.number("kept closed by", text)
		if z.Next != "" {
			y.number("next", z.Next)
		}
	}
}
