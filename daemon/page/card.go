package page

import (
	"fmt"
	"html/template"
	"time"

	"rillgate/zones"
)

// zoneCard is one zone as both pages show it.
type zoneCard struct {
	ID, Name                string
	State, Mark, Class      string
	Moisture, Half          string
	Measured                bool // there is an estimate
	Because, Next           string
	Facts                   []fact
	BudgetUsed, BudgetLimit float64
	Budget                  string
	Wide, Narrow            template.HTML
	Caption                 string
	Reasons                 []reason
}

// fact is one line of a zone's numbers.
type fact struct{ Name, Value string }

// reason says where a number comes from.
type reason struct{ Number, Why string }

// stateMarks gives each state a sign and a class, so that none is told by colour
// alone.
var stateMarks = map[zones.ZoneState][2]string{
	zones.Idle:     {"○", "calm"},
	zones.Watching: {"◔", "calm"},
	zones.Waiting:  {"◑", "warn"},
	zones.Watering: {"●", "live"},
	zones.Resting:  {"◕", "calm"},
	zones.Held:     {"‖", "warn"},
	zones.Stopped:  {"■", "bad"},
	zones.Latched:  {"▲", "bad"},
	zones.Fallow:   {"–", "calm"},
}

func (d *desk) card(z *zones.ZoneView, height float64) zoneCard {
	marks, ok := stateMarks[z.State]
	if !ok {
		marks = [2]string{"?", "warn"}
	}
	c := zoneCard{
		ID: z.ID, Name: orElse(z.Name, z.ID), State: orElse(string(z.State), notKnown), Mark: marks[0], Class: marks[1],
		Moisture: figure(z.Moisture, 1, "%"), Measured: known(z.Moisture), Because: sentenceCase(orElse(z.Because, "no reason is known yet")), Next: orElse(z.Next, notKnown),
		BudgetUsed: budgetUsed(z), BudgetLimit: max(z.LimitSeconds, 1), Budget: budget(z), Facts: d.facts(z), Reasons: d.reasons(z),
	}
	if !c.Measured {
		c.Moisture = "moisture not known"
	}
	if c.Measured && known(z.HalfWidth) {
		c.Half = "± " + figure(z.HalfWidth, 1, "points")
	}
	d.picture(&c, z, height)
	return c
}

// budgetUsed is the length of the bar.
func budgetUsed(z *zones.ZoneView) float64 {
	if z.BudgetSpent {
		return max(z.LimitSeconds, 1)
	}
	return z.UsedSeconds
}

func budget(z *zones.ZoneView) string {
	switch {
	case z.BudgetSpent:
		return fmt.Sprintf("counts as spent, all %s: what was given is not known", span(seconds(z.LimitSeconds)))
	case z.LimitSeconds <= 0:
		return span(seconds(z.UsedSeconds))
	}
	return fmt.Sprintf("%s of %s (%.0f %%)", span(seconds(z.UsedSeconds)), span(seconds(z.LimitSeconds)), 100*z.UsedSeconds/z.LimitSeconds)
}

func (d *desk) facts(z *zones.ZoneView) []fact {
	fs := []fact{
		{"Window", d.window(z)},
		{"Litres, last 24 h", d.litres(z.Litres24)},
		{"Litres since ever", fmt.Sprintf("%s in %s", d.litres(z.LitresTotal), plural(int(z.ShotsTotal), "shot"))},
		{"Probes that count", fmt.Sprintf("%d of %d", z.Counting, z.Assigned)},
		{"Newest reading", newest(z)},
		{"Substrate temperature", d.temperature(z.Temperature)},
		{"Pore water EC", poreEC(z)},
		{"Dry without water", d.drying(z)},
	}
	if d.us {
		fs[1].Name, fs[2].Name = "Gallons, last 24 h", "Gallons since ever"
	}
	if z.Stage != "" {
		stage := z.Stage
		if z.CropDay > 0 {
			stage = fmt.Sprintf("%s, day %d", z.Stage, z.CropDay)
		}
		fs = append(fs, fact{"Stage", stage})
	}
	if z.NotWalked != "" {
		fs = append(fs, fact{"Walk", "not walked: " + z.NotWalked})
	} else if z.WalkedAt != nil {
		fs = append(fs, fact{"Walk", "as configured, " + z.WalkedAt.Format("2006-01-02")})
	}
	if s := z.Soak; s != nil {
		text := fmt.Sprintf("%.0f of %.0f mL a plant, run %d of %d, up to %.4g %%, no run after %s", s.GivenML, s.VolumeML, s.Begun, s.Runs, s.MaxMoisture, d.clock(s.Until))
		if s.Waits != "" {
			text += "; it waits: " + s.Waits
		}
		fs = append(fs, fact{"Soak", text})
	}
	if r := z.SoakRoom; r != nil && (z.Soak != nil || r.UsedSeconds > 0) {
		fs = append(fs, fact{"Soaks, last 24 h", fmt.Sprintf("%s of %s, %s left", span(seconds(r.UsedSeconds)), span(seconds(r.LimitSeconds)), span(seconds(r.LeftSeconds)))})
	}
	if z.OpenUntil != nil {
		fs = append(fs, fact{"Open until", d.clock(*z.OpenUntil)})
	}
	if z.RestUntil != nil {
		fs = append(fs, fact{"Rests until", d.clock(*z.RestUntil)})
	}
	if z.HoldUntil != nil {
		fs = append(fs, fact{"Held until", fmt.Sprintf("%s, set over %s", d.clock(*z.HoldUntil), orElse(string(z.HoldSource), notKnown))})
	}
	for _, l := range z.Latches {
		fs = append(fs, fact{"Latched", fmt.Sprintf("%s since %s: %s", l.Code, d.clock(l.Since), l.Because)})
	}
	return fs
}

// drying says when the zone gets dry if nothing is given.
func (d *desk) drying(z *zones.ZoneView) string {
	if z.DryAt == nil {
		return notKnown
	}
	if !z.DryAt.After(d.now) {
		return fmt.Sprintf("it is at or under %.4g %%", *z.DryLevel)
	}
	at := z.DryAt.Round(5 * time.Minute)
	half := max(time.Duration(z.DryHalf)*time.Second, 5*time.Minute).Round(5 * time.Minute)
	return fmt.Sprintf("%.4g %% at about %s, %s either way", *z.DryLevel, d.clock(at), span(half))
}

// poreEC is the salt at the roots.
func poreEC(z *zones.ZoneView) string {
	if z.PoreEC == nil {
		return notKnown
	}
	return fmt.Sprintf("%.1f mS/cm, %s", *z.PoreEC, plural(z.PoreProbes, "probe"))
}

// newest is the age of the newest counting reading.
func newest(z *zones.ZoneView) string {
	if z.AgeSeconds == nil {
		return "none that counts"
	}
	return age(z.AgeSeconds)
}

func (d *desk) window(z *zones.ZoneView) string {
	if z.Window == "" || z.Window == "none" {
		return "none open"
	}
	text := z.Window
	if z.WindowEnds != nil {
		text += " until " + d.clock(*z.WindowEnds)
	}
	return text + ", " + plural(z.Shots, "shot") + " so far"
}

// picture draws the last 24 h of a zone.
func (d *desk) picture(c *zoneCard, z *zones.ZoneView, height float64) {
	to := d.now
	from := to.Add(-24 * time.Hour)
	ch := &chart{
		from: from, to: to, loc: d.loc, write: d.writing, levels: levels(z),
		points: d.src.History(Series{Of: Moisture, Zone: z.ID}, from, to), shots: d.src.Shots(z.ID, from, to),
	}
	ch.title = "Moisture of " + c.Name + ", last 24 hours. " + ch.summary()
	c.Caption = ch.summary()
	if len(stretches(ch.points)) == 0 && len(ch.shots) == 0 {
		return // an empty frame says nothing
	}
	c.Wide, c.Narrow = ch.drawWide(height), ch.drawNarrow(height)
}

func levels(z *zones.ZoneView) []level {
	var ls []level
	add := func(l *float64, name, short, class string) {
		if l != nil {
			ls = append(ls, level{name, short, *l, class})
		}
	}
	add(z.Below, "below", "below", "below")
	add(z.StopAt, "stop at", "stop", "stop")
	add(z.MaxMoisture, "highest", "max", "max")
	return ls
}

// summary says in words what the picture shows.
func (c *chart) summary() string {
	i := interval{lo: 101, hi: -1}
	parts := stretches(c.points)
	for _, s := range parts {
		for _, p := range s {
			i.include(p.Value)
		}
	}
	text := "No estimate in the last 24 h"
	if !i.empty() {
		text = fmt.Sprintf("Last 24 h: %.1f to %.1f %%", i.lo, i.hi)
	}
	if len(parts) > 1 {
		text += ", no estimate where the line is broken"
	}
	litres := 0.0
	for _, s := range c.shots {
		litres += s.Litres
	}
	text += "; " + plural(len(c.shots), "shot")
	if litres > 0 {
		text += ", " + c.write.litres(litres)
	}
	return text + "."
}
