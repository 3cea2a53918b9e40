package page

import (
	"html/template"
	"strings"
	"time"

	"rillgate/zones"
)

// The structs here hold ready words and pictures: the templates only lay them out.

type pageHead struct {
	Title   string
	Room    string
	Refresh int    // s; 0 = not
	Still   string // address of this page with the refresh the other way
	Style   template.CSS
	Clock   string
	Plan    string
	Flags   []flag
	Notices []string
	Version string
}

// flag is a word on the room as a whole, with a mark so that colour is not needed.
type flag struct{ Mark, Word, Class string }

type roomPage struct {
	pageHead
	Alarms      []alarmRow
	Zones       []zoneCard
	Valves      []valveRow
	Healthy     *healthyRow // nil = the plan names none
	Controllers []controllerRow
	Inputs      []inputRow
	Probes      []probeRow
}

type alarmRow struct {
	Title, Code, Subject, Since, Because, Do string
	Acknowledged                             bool
}

type valveRow struct{ ID, Output, Zone, State, Class, Wanted, Flow string }

type controllerRow struct{ ID, Word, Class, Because string }

type inputRow struct{ ID, Controller, Means, Word, Class string }

type probeRow struct {
	ID, Label, Place, Zone, Quality, Class, Because string
	Moisture, EC, Temperature, Age                  string
	Linked                                          bool // it has a page of its own
}

// desk gathers what one request is drawn from.
type desk struct {
	writing
	view zones.View
	plan *zones.Plan
	src  Source
}

func newDesk(src Source) *desk {
	d := &desk{view: src.View(), plan: src.Plan(), src: src}
	d.writing = writing{loc: time.UTC, now: d.view.Wall}
	if d.plan != nil {
		d.us = d.plan.US
		d.loc = d.plan.Location()
	}
	return d
}

func newRoomPage(c *Config, still bool) *roomPage {
	d := newDesk(c.Source)
	p := &roomPage{pageHead: d.head(c, still, "/")}
	p.Title = p.Room
	for i := range d.view.Alarms {
		p.Alarms = append(p.Alarms, d.alarm(&d.view.Alarms[i]))
	}
	for i := range d.view.Zones {
		p.Zones = append(p.Zones, d.card(&d.view.Zones[i], 200))
	}
	for i := range d.view.Valves {
		p.Valves = append(p.Valves, d.valve(&d.view.Valves[i]))
	}
	p.Healthy = d.healthy()
	for i := range d.view.Controllers {
		p.Controllers = append(p.Controllers, controller(&d.view.Controllers[i]))
	}
	for i := range d.view.Inputs {
		p.Inputs = append(p.Inputs, input(&d.view.Inputs[i]))
	}
	for i := range d.view.Probes {
		p.Probes = append(p.Probes, d.probe(&d.view.Probes[i]))
	}
	return p
}

// How often pages renew themselves, s. One that reads days of history does it seldom.
const (
	refresh     = 10
	slowRefresh = 60
)

func (d *desk) head(c *Config, still bool, path string) pageHead {
	h := pageHead{
		Room: orElse(d.view.Name, orElse(d.view.Room, "Room")), Refresh: refresh, Still: path + "?still",
		Style: styleSheet(), Clock: d.face(), Plan: orElse(shortHash(d.view.Plan), "none"),
		Flags: d.flags(), Notices: c.Source.Notices(), Version: c.Version,
	}
	if still {
		h.Still, h.Refresh = path, 0
	}
	return h
}

// face is the room's own clock, with its day and zone.
func (d *desk) face() string {
	if d.now.IsZero() {
		return notKnown
	}
	return d.now.In(d.loc).Format("Mon 2 Jan 2006, 15:04:05 MST")
}

func shortHash(h string) string { return h[:min(len(h), 12)] }

// flags say how the room as a whole is.
func (d *desk) flags() []flag {
	var fs []flag
	if d.view.Stopped {
		fs = append(fs, flag{"■", "stopped by a person", "bad"})
	}
	if d.view.Starting {
		fs = append(fs, flag{"…", "starting", "warn"})
	}
	fs = append(fs, either(d.view.BrokerUp, flag{"✓", "broker connected", "good"}, flag{"✗", "broker lost", "bad"}))
	if d.view.Healthy != nil {
		fs = append(fs, d.healthyFlag())
	}
	return append(fs, either(d.view.Trusted, flag{"✓", "clock trusted", "good"}, flag{"?", "clock unsure: windows wait", "warn"}))
}

func either(b bool, yes, no flag) flag {
	if b {
		return yes
	}
	return no
}

func (d *desk) alarm(a *zones.AlarmView) alarmRow {
	row := alarmRow{
		Title: string(a.Code), Code: string(a.Code), Subject: a.Subject, Since: d.clock(a.Since),
		Because: a.Because, Acknowledged: a.Acknowledged,
		Do: "run `rillgate why " + orElse(a.Subject, "room") + "` for the whole reason",
	}
	if !a.Since.IsZero() {
		row.Since += ", " + span(d.now.Sub(a.Since)) + " ago"
	}
	if e, ok := a.Code.Explain(); ok {
		row.Title, row.Do = e.Title, orElse(e.Do, "nothing is due")
	}
	row.Title, row.Do = sentenceCase(row.Title), sentenceCase(row.Do)
	return row
}

// sentenceCase lifts the first letter.
func sentenceCase(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// valveWords puts a valve's state in words.
var valveWords = map[zones.ValveState][2]string{
	zones.ValveClosed:    {"closed", "calm"},
	zones.ValveOpen:      {"open", "live"},
	zones.ValveMaybeOpen: {"maybe open", "warn"},
	zones.ValveUnknown:   {"not known", "warn"},
	zones.ValveLatched:   {"latched: does not obey", "bad"},
}

func (d *desk) valve(v *zones.ValveView) valveRow {
	w, ok := valveWords[v.State]
	if !ok {
		w = [2]string{notKnown, "warn"}
	}
	row := valveRow{ID: v.ID, Output: v.Output.String(), Zone: orElse(v.Zone, "–"), State: w[0], Class: w[1], Wanted: "closed", Flow: "no meter"}
	if v.Master {
		row.Zone = "whole supply"
	}
	if v.Wanted {
		row.Wanted = "open"
	}
	if known(v.FlowLPM) {
		row.Flow = d.flow(v.FlowLPM)
	}
	return row
}

func controller(c *zones.ControllerView) controllerRow {
	row := controllerRow{ID: c.ID, Word: "offline", Class: "bad", Because: c.Because}
	switch {
	case c.Online && c.Ready:
		row.Word, row.Class = "online", "good"
	case c.Online:
		row.Word, row.Class = "online, not ready", "warn"
	}
	return row
}

func input(in *zones.InputView) inputRow {
	row := inputRow{ID: in.ID, Controller: in.Controller, Means: string(in.Means), Word: "quiet", Class: "calm"}
	switch {
	case !in.Known:
		row.Word, row.Class = "not heard", "warn"
	case in.Active && in.Means == zones.Lights:
		row.Word = "active"
	case in.Active:
		row.Word, row.Class = "active", "bad"
	}
	return row
}

func (d *desk) probe(p *zones.ProbeView) probeRow {
	row := probeRow{
		ID: orElse(p.ID, p.Place.String()), Label: p.Label, Place: p.Place.String(), Zone: orElse(p.Zone, "no zone"),
		Quality: orElse(string(p.Quality), notKnown), Class: "warn", Because: p.Because,
		Moisture: figure(p.Moisture, 1, "%"), EC: figure(p.EC, 2, "mS/cm"), Temperature: d.temperature(p.Temperature), Age: age(p.AgeSeconds),
		Linked: p.ID != "",
	}
	if p.Quality == zones.ProbeGood {
		row.Class = "good"
	}
	if p.Quality == zones.ProbeLost {
		row.Class = "bad"
	}
	return row
}
