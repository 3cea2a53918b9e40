package operator

import (
	"fmt"
	"strings"
	"time"

	"rillgate/zones"
)

// Explain answers why a subject is as it is: a zone, supply, valve, probe,
// controller, input, "room" (or its id), or a reason's code. A kind before the name, as in
// "valve east", looks for that kind alone. An unknown subject is a *Refusal.
func Explain(v *zones.View, subject string) (*Why, error) {
	looks := []func(*zones.View, string) *Why{whyRoom, whyZone, whySupply, whyValve, whyHealthy, whyProbe, whyController, whyInput, whyCode}
	if kind, name, two := strings.Cut(subject, " "); two {
		looks, subject = kinds[kind], name
	}
	for _, look := range looks {
		if y := look(v, subject); y != nil {
			return y, nil
		}
	}
	if subject == "healthy" {
		return nil, &Refusal{Text: "this room has no healthy output", Hint: "room.yaml may name one: `healthy: {controller: ID, output: N}`; it drops, and a horn sounds, when whatever holds it dies"}
	}
	return nil, &Refusal{Text: fmt.Sprintf("nothing here is called %q", subject),
		Hint: "a zone, supply, valve, probe, controller or input of this room is due, or `room`, `healthy`, or a reason's code"}
}

// kinds are the words that may stand before a name.
var kinds = map[string][]func(*zones.View, string) *Why{
	"zone": {whyZone}, "supply": {whySupply}, "valve": {whyValve}, "output": {whyHealthy, whyValve}, "probe": {whyProbe}, "controller": {whyController}, "input": {whyInput}, "code": {whyCode},
}

// whyRoom lists every interlock of the room that stands, not only the one that a
// zone shows.
func whyRoom(v *zones.View, subject string) *Why {
	if subject != "room" && subject != v.Room {
		return nil
	}
	y := &Why{Subject: v.Room, Kind: "room", State: "running", Because: "no interlock of the room refuses water"}
	if len(v.Standing) > 0 {
		first := &v.Standing[0]
		y.State = roomState(first)
		y.explain(first.Code)
		y.Because = first.Because
	}
	y.Standing = v.Standing
	y.number("plan", orNone(v.Plan))
	y.number("clock", map[bool]string{true: "trusted", false: "unsure"}[v.Trusted])
	y.number("broker", map[bool]string{true: "connected", false: "out of reach"}[v.BrokerUp])
	if h := v.Healthy; h != nil {
		y.number("healthy output", HealthyWords(h))
	}
	for i := range v.Alarms {
		a := &v.Alarms[i]
		silenced := ""
		if a.Acknowledged {
			silenced = ", acknowledged"
		}
		y.warn("alarm %s on %s since %s%s: %s", a.Code, a.Subject, a.Since.Format(time.DateTime), silenced, a.Because)
	}
	return y
}

func roomState(s *zones.StandingView) string {
	switch {
	case s.Code == zones.Starting:
		return "starting"
	case s.Code == zones.StoppedByPerson:
		return "stopped"
	case s.Code == zones.AlarmPlanRejected:
		return "closed"
	case s.Latched:
		return "latched"
	}
	return "waiting"
}

func whyZone(v *zones.View, subject string) *Why {
	for i := range v.Zones {
		z := &v.Zones[i]
		if z.ID != subject {
			continue
		}
		y := &Why{Subject: z.ID, Kind: "zone", State: string(z.State)}
		y.explain(z.Reason)
		y.Reason, y.Because, y.Next = z.Reason, z.Because, z.Next
		zoneNumbers(y, z)
		zoneWarnings(y, v, z)
		return y
	}
	return nil
}

func zoneNumbers(y *Why, z *zones.ZoneView) {
	if z.Moisture != nil {
		spread := ""
		if z.HalfWidth != nil {
			spread = fmt.Sprintf(" +/- %.1f points", *z.HalfWidth)
		}
		y.number("moisture", fmt.Sprintf("%.1f %%%s from %d of %d probes", *z.Moisture, spread, z.Counting, z.Assigned))
	} else {
		y.number("moisture", fmt.Sprintf("unknown: %d of %d probes count", z.Counting, z.Assigned))
	}
	level := func(name string, l *float64) {
		if l != nil {
			y.number(name, fmt.Sprintf("%.1f %%", *l))
		}
	}
	level("below", z.Below)
	level("stop_at", z.StopAt)
	if z.Soak != nil {
		y.number("max_moisture of the soak", fmt.Sprintf("%.1f %%", z.Soak.MaxMoisture))
	} else {
		level("max_moisture", z.MaxMoisture)
	}
	if n := z.ProbesNeeded(); n > 0 {
		y.number("probes needed", fmt.Sprintf("%d for %.0f points either way, of a spread of %.1f points", n, zones.WantedPrecision, *z.Spread))
	}
	if z.PoreEC != nil {
		y.number("pore EC", fmt.Sprintf("%.1f mS/cm, the median of %d", *z.PoreEC, z.PoreProbes))
	}
	drying(y, z)
	learned(y, z.Learned)
	y.number("window", orNone(z.Window)+until(z.WindowEnds))
	y.number("shots in this opening", fmt.Sprint(z.Shots))
	y.number("budget of 24 h", budgetWords(z))
	soakNumbers(y, z)
	for _, t := range []struct {
		name string
		at   *time.Time
	}{{"open until", z.OpenUntil}, {"rest until", z.RestUntil}, {"hold until", z.HoldUntil}} {
		if t.at != nil {
			y.number(t.name, t.at.Format(time.TimeOnly))
		}
	}
}

func budgetWords(z *zones.ZoneView) string {
	if z.BudgetSpent {
		return fmt.Sprintf("counts as spent, all %.0f s: what was given is not known; `rillgate reset budget %s`", z.LimitSeconds, z.ID)
	}
	return fmt.Sprintf("%.0f of %.0f s used", z.UsedSeconds, z.LimitSeconds)
}

func zoneWarnings(y *Why, v *zones.View, z *zones.ZoneView) {
	y.latches(z.Latches)
	for i := range v.Probes {
		p := &v.Probes[i]
		if p.Zone == z.ID && p.Quality != zones.ProbeGood {
			y.warn("probe %s is %s%s", nameOf(p), p.Quality, colon(p.Because))
		}
	}
}

// explain fills in what the table says of a code.
func (y *Why) explain(r zones.Reason) {
	e, ok := r.Explain()
	if !ok {
		return
	}
	y.Reason, y.Because, y.Rule, y.Do = r, e.Title, e.Rule, e.Do
}

func (y *Why) latches(list []zones.LatchView) {
	for _, l := range list {
		y.warn("latched: %s since %s: %s", l.Code, l.Since.Format(time.DateTime), l.Because)
	}
}

func (y *Why) warn(format string, args ...any) {
	y.Warnings = append(y.Warnings, fmt.Sprintf(format, args...))
}

func (y *Why) number(name, value string) {
	y.Numbers = append(y.Numbers, Number{Name: name, Value: value})
}

func orNone(s string) string {
	if s == "" {
		return "none"
	}
	return s
}

func until(t *time.Time) string {
	if t == nil {
		return ""
	}
	return " until " + t.Format("15:04")
}

func nameOf(p *zones.ProbeView) string {
	if p.ID != "" {
		return p.ID
	}
	return p.Place.String()
}

func colon(s string) string {
	if strings.TrimSpace(s) == "" {
		return ""
	}
	return ": " + s
}
