package page

import (
	"fmt"
	"slices"
	"strconv"
	"time"

	"rillgate/zones"
)

// probePage is one probe with its last days.
type probePage struct {
	pageHead
	Probe  probeRow
	ZoneID string // "" = none
	Ask    string // which command says more
	Facts  []fact
	Days   []dayLink
	Panels []drawnPanel
}

// dayLink leads to another length of time; the one that is shown has no Path.
type dayLink struct{ Words, Path string }

// probeDays are the lengths of time of a probe's page; the first one is the usual.
var probeDays = []int{3, 1, 7}

func newProbePage(c *Config, id string, days int, still bool) (*probePage, bool) {
	d := newDesk(c.Source)
	i := slices.IndexFunc(d.view.Probes, func(p zones.ProbeView) bool { return p.ID == id && id != "" })
	if i < 0 {
		return nil, false
	}
	if !slices.Contains(probeDays, days) {
		days = probeDays[0]
	}
	v := &d.view.Probes[i]
	path := "/probes/" + id + "?days=" + strconv.Itoa(days)
	p := &probePage{pageHead: d.head(c, still, path), Probe: d.probe(v), ZoneID: v.Zone, Facts: d.probeFacts(v)}
	p.Title, p.Ask = id+" – "+p.Room, "All that is known of it: `rillgate why "+id+"`"
	if p.Refresh > 0 {
		p.Refresh = slowRefresh
	}
	p.Still = path
	if !still {
		p.Still += "&still"
	}
	for _, n := range slices.Sorted(slices.Values(probeDays)) {
		l := dayLink{Words: plural(n, "day"), Path: "/probes/" + id + "?days=" + strconv.Itoa(n)}
		if still {
			l.Path += "&still"
		}
		if n == days {
			l.Path = ""
		}
		p.Days = append(p.Days, l)
	}
	p.Panels = d.probePast(v, days).panels()
	return p, true
}

// probePast gathers a probe's last days, with the shots and limits of the zone that it
// is in now.
func (d *desk) probePast(v *zones.ProbeView, days int) *Past {
	p := &Past{Title: "Probe " + v.ID, From: d.now.Add(-time.Duration(days) * 24 * time.Hour), To: d.now, Location: d.loc, US: d.us}
	for _, of := range []Quantity{Moisture, BulkEC, Temperature} {
		p.Panels = append(p.Panels, Panel{Of: of, Points: d.src.History(Series{Of: of, Probe: v.ID}, p.From, p.To)})
	}
	if i := slices.IndexFunc(d.view.Zones, func(z zones.ZoneView) bool { return z.ID == v.Zone && v.Zone != "" }); i >= 0 {
		p.Shots = d.src.Shots(v.Zone, p.From, p.To)
		p.Panels[0].Levels = zoneLevels(&d.view.Zones[i])
	}
	return p
}

// zoneLevels are the levels of a zone under which its probes are looked at.
func zoneLevels(z *zones.ZoneView) (out []Level) {
	for _, l := range levels(z) {
		out = append(out, Level{Name: l.name, Short: l.short, Class: l.class, Percent: l.at})
	}
	return out
}

func (d *desk) probeFacts(v *zones.ProbeView) []fact {
	fs := []fact{{"Moisture", figure(v.Moisture, 1, "%")}, {"Heard", age(v.AgeSeconds)}, {"Place", v.Place.String()}}
	if v.Label != "" {
		fs = append(fs, fact{"Label", v.Label})
	}
	if v.Serial != "" {
		fs = append(fs, fact{"Serial number", v.Serial})
	}
	fs = append(fs, fact{"Bulk EC", figure(v.EC, 2, "mS/cm")}, fact{"Temperature", d.temperature(v.Temperature)})
	if v.PoreEC != nil {
		fs = append(fs, fact{"Pore water EC", fmt.Sprintf("%.1f mS/cm: %s", *v.PoreEC, v.PoreWhy)})
	}
	if v.Permittivity != nil {
		fs = append(fs, fact{"Permittivity", fmt.Sprintf("%.1f", *v.Permittivity)})
	}
	return append(fs, fact{"Named in", map[bool]string{true: "room.yaml", false: "no file: an order or the wire brought it"}[v.InFiles]})
}
