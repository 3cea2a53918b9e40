package operator

import (
	"fmt"
	"time"

	"rillgate/zones"
	"rillgate/zones/response"
)

// drying says when a zone gets dry without water.
func drying(y *Why, z *zones.ZoneView) {
	if z.DryAt == nil || z.DryLevel == nil {
		return
	}
	half := max((time.Duration(z.DryHalf) * time.Second).Round(5*time.Minute), 5*time.Minute)
	y.number("dry without water", fmt.Sprintf("%.4g %% at about %s, %s either way", *z.DryLevel,
		z.DryAt.Round(5*time.Minute).Format("Mon 15:04"), hoursWords(half)))
}

// hoursWords writes whole minutes as "2 h 55 min".
func hoursWords(d time.Duration) string {
	h, m := int(d.Hours()), int(d.Minutes())%60
	switch {
	case h == 0:
		return fmt.Sprintf("%d min", m)
	case m == 0:
		return fmt.Sprintf("%d h", h)
	}
	return fmt.Sprintf("%d h %d min", h, m)
}

// learned lists what a zone has taught.
func learned(y *Why, l *response.Learned) {
	if l == nil {
		return
	}
	for _, n := range []struct {
		name, unit string
		number     response.Number
		also       string // the same in another unit; "" = in none
		in         response.Number
	}{
		{"learned: rise", "points a litre a plant", l.PointsPerLitre, "", response.Number{}},
		{"learned: delay", "min from the opening to half of the rise", l.DelayMinutes, "", response.Number{}},
		{"learned: uptake by day", "points/h", l.UptakeDay, "mL a plant and hour", l.UptakeDayML},
		{"learned: uptake by night", "points/h", l.UptakeNight, "mL a plant and hour", l.UptakeNightML},
		{"learned: field level", "%", l.Field, "", response.Number{}},
	} {
		if !n.number.Known() {
			continue
		}
		text := fmt.Sprintf("%.3g +/- %.2g %s", n.number.Value, n.number.HalfWidth, n.unit)
		if n.in.Known() {
			text += fmt.Sprintf(" (%.3g +/- %.2g %s)", n.in.Value, n.in.HalfWidth, n.also)
		}
		y.number(n.name, fmt.Sprintf("%s, of %d", text, n.number.N))
	}
}
