package operator

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"rillgate/zones"
)

// healthySentences say what a state of the healthy output rests on.
var healthySentences = map[zones.HealthyState]string{
	zones.HealthyHeld:    "all is well: no urgent alarm stands, and its controller reports it held",
	zones.HealthyWaiting: "it is told to hold, and no report shows it held yet",
	zones.HealthyDropped: "it is dropped",
	zones.HealthyMaybe:   "it was told to let go; until its grant runs out it may be held still",
	zones.HealthyStuck:   "it was told to let go and is reported held: what hangs on it is silent",
	zones.HealthyUnknown: unnamedSince,
}

// whyHealthy explains the output that is held while all is well, by that word or by its
// place.
func whyHealthy(v *zones.View, subject string) *Why {
	h := v.Healthy
	if h == nil || subject != "healthy" && subject != h.Output.String() {
		return nil
	}
	y := &Why{Subject: h.Output.String(), Kind: "output", State: string(h.State), Because: healthySentences[h.State],
		Rule: "held by grants of a lease while all is well; dropped by an urgent alarm that nobody acknowledged, and by whatever dies"}
	if !h.Held && h.Because != "" && h.State != zones.HealthyWaiting {
		y.Because += ": " + h.Because
	}
	switch {
	case h.State == zones.HealthyStuck:
		y.Do = "look at the output and its relay now, and put up another watch until it is mended"
	case len(h.Alarms) > 0:
		y.Do = "find the cause; `rillgate acknowledge CODE` silences an alarm that you know of, a reset is not needed for that"
	}
	y.number("drives", orNone(h.Drives))
	y.number("since", h.Since.Format(time.DateTime))
	y.number("kept dropped by", orNone(strings.Join(h.Alarms, ", ")))
	for i := range v.Alarms {
		if a := &v.Alarms[i]; slices.Contains(h.Alarms, a.ID()) {
			y.warn("alarm %s on %s since %s: %s", a.Code, a.Subject, a.Since.Format(time.DateTime), a.Because)
		}
	}
	return y
}

// HealthyWords says in one line how the healthy output is.
func HealthyWords(h *zones.HealthyView) string {
	text := fmt.Sprintf("%s since %s, %s", h.State, h.Since.Format(time.DateTime), h.Output)
	if h.State == zones.HealthyUnknown {
		text = fmt.Sprintf("%s, %s", h.State, h.Output)
	}
	if h.Drives != "" {
		text += ", " + h.Drives
	}
	if h.Held || h.Because == "" {
		return text
	}
	return text + ": " + h.Because
}

// healthy tells what the healthy output was told and what its controller says.
func (e *Evidence) healthy(y *Why, v *zones.ValveEvidence) {
	if !e.Dead {
		e.word(y, v, "held", "dropped")
	}
	for i := range e.Lines {
		l := &e.Lines[i]
		y.number("journal", fmt.Sprintf("%s %s: %s", e.clock(l.At), l.Kind, l.Because))
	}
}
