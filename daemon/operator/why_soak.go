package operator

import (
	"fmt"
	"time"

	"rillgate/zones"
)

// soakNumbers tells the soak that is on, and what soaks may have yet.
func soakNumbers(y *Why, z *zones.ZoneView) {
	if s := z.Soak; s != nil {
		text := fmt.Sprintf("%s of %s a plant given, %d of %d runs begun, each of %s", zones.VolumeWords(s.GivenML), zones.VolumeWords(s.VolumeML), s.Begun, s.Runs, roundly(s.RunSeconds))
		if s.Runs > 1 {
			text += fmt.Sprintf(" with %s between", roundly(s.RestSeconds))
		}
		if s.Waits != "" {
			text += "; it waits: " + s.Waits
		}
		y.number("soak", fmt.Sprintf("%s; no run begins after %s", text, s.Until.Format("15:04")))
	}
	r := z.SoakRoom
	switch {
	case r == nil:
	case z.BudgetSpent:
		y.number("soak budget of 24 h", fmt.Sprintf("counts as spent, all %.0f s: what was given is not known", r.LimitSeconds))
	default:
		left := fmt.Sprintf("%.0f s left", r.LeftSeconds)
		if r.LeftML > 0 {
			left += ", " + zones.VolumeWords(r.LeftML) + " a plant"
		}
		y.number("soak budget of 24 h", fmt.Sprintf("%.0f of %.0f s used, %s", r.UsedSeconds, r.LimitSeconds, left))
	}
}

// roundly writes a length of time to the second.
func roundly(s float64) string {
	return time.Duration(s * float64(time.Second)).Round(time.Second).String()
}
