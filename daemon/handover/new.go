package handover

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"time"

	"rillgate/configs"
	"rillgate/zones"
	"rillgate/zones/walk"
	"rillgate/zones/wiring"
)

// Document is the hand-over of a room, ready to be shown.
type Document struct {
	Room, Name string
	Plan       string
	Made       string // of the room's clock
	Date       string
	TimeZone   string
	Notices    []string
	Contacts   []configs.Contact
	Open       []Open
	Cards      []shownCard
	Zones      []zoneSheet
	Probes     []probeLine
	Curves     []calibration
	Walk       *walked // nil = none is kept
	Closings   []string
	Catches    []string
	Healthy    *healthy // nil = the plan names none
	survey     wiring.Sheet
}

// Open is something that stands: an alarm, a latch, a warning, a finding of the wiring.
type Open struct {
	What, Subject, Text string
	Since               string
}

// New makes the document of a room.
func New(in *Input) *Document {
	p := in.Loaded.Plan
	w := writing{loc: p.Calendar.Location, us: p.US}
	now := in.Now.In(w.loc)
	d := &Document{Room: p.Room, Name: p.Name, Plan: in.Loaded.Hash, Made: now.Format("2006-01-02 15:04"), Date: now.Format(time.DateOnly),
		TimeZone: w.loc.String(), Notices: in.Notices, Contacts: in.Loaded.Contacts, Cards: w.cards(Deal(p, in.Days, in.Now)), survey: wiring.Survey(in.Loaded.Wiring)}
	words := configs.Words(in.Loaded, in.Now)
	for i := range words.Zones {
		d.Zones = append(d.Zones, w.zone(p, &words.Zones[i]))
	}
	d.Probes = probes(in)
	for i := range p.Zones {
		d.Curves = append(d.Curves, calibrated(p, &p.Zones[i]))
	}
	d.Walk, d.Closings, d.Catches = w.walked(in), closings(in.Closings, w), catches(in.Catches, w)
	d.Healthy = w.healthy(p, in.View, in.Running)
	d.Open = append(w.standing(in.View), w.fallen(in.View, in.Running)...)
	d.Open = append(d.Open, d.doubts(in.Problems)...)
	return d
}

// standing lists what stands in the room: latches, holds, alarms, each once.
func (w writing) standing(v *zones.View) (out []Open) {
	if v == nil {
		return nil
	}
	told := map[[2]string]bool{}
	put := func(what, code, subject, text string, since *time.Time) {
		if told[[2]string{code, subject}] {
			return
		}
		told[[2]string{code, subject}] = true
		o := Open{What: what + " " + code, Subject: subject, Text: text}
		if since != nil {
			o.Since = since.In(w.loc).Format("2006-01-02 15:04")
		}
		out = append(out, o)
	}
	for _, s := range v.Standing {
		if s.Latched {
			put("Latch", string(s.Code), "room", s.Because, s.Since)
		}
	}
	for i := range v.Supplies {
		for _, l := range v.Supplies[i].Latches {
			put("Latch", string(l.Code), v.Supplies[i].ID, l.Because, &l.Since)
		}
	}
	for i := range v.Zones {
		z := &v.Zones[i]
		for _, l := range z.Latches {
			put("Latch", string(l.Code), z.ID, l.Because, &l.Since)
		}
		if z.NotWalked != "" {
			put("Walk", string(zones.NotWalked), z.ID, z.NotWalked, nil)
		}
		if z.HoldUntil != nil {
			put("Hold", string(zones.HeldByPerson), z.ID, "until "+z.HoldUntil.In(w.loc).Format("2006-01-02 15:04"), nil)
		}
	}
	for _, a := range v.Alarms {
		put("Alarm", string(a.Code), a.Subject, a.Because, &a.Since)
	}
	return out
}

// doubts are the warnings of the files and of the wiring.
func (d *Document) doubts(problems []configs.Problem) (out []Open) {
	for i := range problems {
		p := &problems[i]
		out = append(out, Open{What: "Warning", Subject: fmt.Sprintf("%s:%d", p.File, p.Line), Text: p.Message})
	}
	for _, f := range d.survey.Findings {
		if f.Warning {
			out = append(out, Open{What: "Wiring", Subject: f.Where(), Text: f.Text + "; " + f.Do})
		}
	}
	return out
}

// closings says how long each output took to close by itself, as last measured.
func closings(papers []Paper, w writing) (out []string) {
	last := map[string]walk.Closing{}
	for _, p := range papers {
		var r walk.Result
		if json.Unmarshal(p.Body, &r) != nil {
			continue
		}
		for _, c := range r.Closings {
			if !c.At.Before(last[c.Valve].At) {
				last[c.Valve] = c
			}
		}
	}
	for _, valve := range slices.Sorted(maps.Keys(last)) {
		c := last[valve]
		out = append(out, fmt.Sprintf("%s (%s): %s; %s", valve, c.Output, c.Because, c.At.In(w.loc).Format("2006-01-02 15:04")))
	}
	return out
}
