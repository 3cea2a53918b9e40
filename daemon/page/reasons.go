package page

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"rillgate/zones"
)

// zonePage is one zone with its reasons.
type zonePage struct {
	pageHead
	Zone     zoneCard
	Probes   []probeRow
	Shots    []string // newest first
	Refusals []fact
}

func newZonePage(c *Config, id string, still bool) (*zonePage, bool) {
	d := newDesk(c.Source)
	i := slices.IndexFunc(d.view.Zones, func(z zones.ZoneView) bool { return z.ID == id })
	if i < 0 {
		return nil, false
	}
	z := &d.view.Zones[i]
	p := &zonePage{pageHead: d.head(c, still, "/zones/"+z.ID), Zone: d.card(z, 340)}
	p.Title = p.Zone.Name + " – " + p.Room
	for i := range d.view.Probes {
		if d.view.Probes[i].Zone == id {
			p.Probes = append(p.Probes, d.probe(&d.view.Probes[i]))
		}
	}
	shots := d.src.Shots(id, d.now.AddDate(0, 0, -1), d.now)
	for _, s := range slices.Backward(shots) {
		p.Shots = append(p.Shots, d.shot(&s))
	}
	for _, code := range slices.Sorted(maps.Keys(z.Refusals)) {
		p.Refusals = append(p.Refusals, fact{string(code), fmt.Sprintf("%d", z.Refusals[code])})
	}
	return p, true
}

// reasons say where each number of a zone comes from.
func (d *desk) reasons(z *zones.ZoneView) []reason {
	cfg := d.zoneConfig(z.ID)
	rs := []reason{
		{"Moisture", d.whyMoisture(z, cfg)},
		{"±", whyHalfWidth(z)},
		{"State", whyState(z)},
		{"Window", d.whyWindow(z)},
		{"Water of the day", whyBudget(z)},
		{"Litres", d.whyLitres(z, cfg)},
		{"Temperature", "The mean of the probes that count. Each probe's own is in the table of probes."},
		{"Pore water EC", "The median of the probes that tell it, at 25 °C, from bulk EC, temperature and permittivity after Hilhorst 2000; about 20 % either way. Of a probe that sends no permittivity it is reckoned back from its moisture by the substrate's curve. A dry substrate tells none."},
		{"Dry without water", whyDrying(z)},
		{"Newest reading", "How long ago the newest reading arrived that counts, by a clock that is never set."},
	}
	return rs
}

func (d *desk) zoneConfig(id string) *zones.Zone {
	if d.plan == nil {
		return nil
	}
	for i := range d.plan.Zones {
		if d.plan.Zones[i].ID == id {
			return &d.plan.Zones[i]
		}
	}
	return nil
}

var combinations = map[zones.Combine]string{
	zones.Median:  "the median",
	zones.Mean:    "the mean",
	zones.Trimmed: "the mean without the lowest and the highest",
	zones.Driest:  "the driest",
	zones.Wettest: "the wettest",
}

func (d *desk) whyMoisture(z *zones.ZoneView, cfg *zones.Zone) string {
	how, quorum := "combined", ""
	if cfg != nil {
		how = orElse(combinations[cfg.Moisture.Combine], string(cfg.Moisture.Combine))
		quorum = fmt.Sprintf(" At least %d must count.", cfg.Moisture.Quorum)
	}
	var list []string
	for i := range d.view.Probes {
		p := &d.view.Probes[i]
		if p.Zone == z.ID {
			list = append(list, fmt.Sprintf("%s %s (%s)", orElse(p.ID, p.Place.String()), figure(p.Moisture, 1, "%"), p.Quality))
		}
	}
	text := fmt.Sprintf("%s of the %s: %d of %d count.%s", sentenceCase(how), "probes that count", z.Counting, z.Assigned, quorum)
	if len(list) > 0 {
		text += " " + strings.Join(list, ", ") + "."
	}
	if !known(z.Moisture) {
		text += " Below that number there is no estimate, and nothing that waters by moisture opens."
	}
	return text
}

func whyHalfWidth(z *zones.ZoneView) string {
	if !known(z.HalfWidth) {
		return "How far the probes that count differ; it takes two of them."
	}
	return "Half of the 95 % interval of the mean of the probes that count (Student's t), in points: wide when they differ or are few."
}

func whyState(z *zones.ZoneView) string {
	text := sentenceCase(orElse(z.Because, "no reason is known yet")) + "."
	if z.Reason != "" && z.Reason != zones.NoReason {
		text += fmt.Sprintf(" Code: %s.", z.Reason)
	}
	if e, ok := z.Reason.Explain(); ok {
		text += fmt.Sprintf(" The rule: %s.", e.Rule)
		if e.Do != "" {
			text += fmt.Sprintf(" What to do: %s.", e.Do)
		}
	}
	return text
}

func (d *desk) whyWindow(z *zones.ZoneView) string {
	var parts []string
	if z.Stage != "" {
		parts = append(parts, fmt.Sprintf("The routine in force is %s.", z.Stage))
	}
	if z.Below != nil {
		parts = append(parts, fmt.Sprintf("Water is wanted under %.4g %%.", *z.Below))
	}
	if z.StopAt != nil {
		parts = append(parts, fmt.Sprintf("Shots end when %.4g %% is reached.", *z.StopAt))
	}
	parts = append(parts, "A window says when shots may begin; one that has begun runs to its end. `rillgate check --explain "+z.ID+"` shows where each number was set.")
	return strings.Join(parts, " ")
}

func whyBudget(z *zones.ZoneView) string {
	text := "Valve time of the last 24 h in which the gateway had power, whoever gave it; a shot under way counts whole."
	if z.LimitSeconds > 0 {
		text += fmt.Sprintf(" A shot that does not fit into max_per_day, %s, is refused and never cut.", span(seconds(z.LimitSeconds)))
	}
	return text
}

func (d *desk) whyLitres(z *zones.ZoneView, cfg *zones.Zone) string {
	if z.Metered {
		return "Measured by the meter at the valve."
	}
	if cfg == nil || cfg.FlowLPH() <= 0 {
		return "Not known: the zone has no meter, and its plants and emitters are not in room.yaml."
	}
	flow := cfg.FlowLPH() / 60
	return fmt.Sprintf("Reckoned, as there is no meter: %d plants with %g emitters of %g L/h each make %s while the valve is open.",
		cfg.Plants, cfg.EmittersEach, cfg.EmitterLPH, d.flow(&flow))
}

func whyDrying(z *zones.ZoneView) string {
	if z.DryLevel == nil {
		return "The zone has no dry level: neither a dry alarm nor a window with `below`."
	}
	l := z.Learned
	if l == nil || !l.UptakeDay.Known() && !l.UptakeNight.Known() {
		return "It takes some quiet hours of day and night to learn how fast the zone dries."
	}
	text := "From the last moisture and what the zone has taught: "
	var parts []string
	if l.UptakeDay.Known() {
		parts = append(parts, fmt.Sprintf("%.2f ± %.2f points an hour by day", l.UptakeDay.Value, l.UptakeDay.HalfWidth))
	}
	if l.UptakeNight.Known() {
		parts = append(parts, fmt.Sprintf("%.2f ± %.2f by night", l.UptakeNight.Value, l.UptakeNight.HalfWidth))
	}
	return text + strings.Join(parts, ", ") + "."
}
