package zonetest

import (
	"math"
	"time"

	"rillgate/zones"
)

// expect checks what a script says must be so now:
//
//	expect a watering [below-threshold]    a zone's state, and its reason
//	expect open a | expect shut a          whether a valve lets water through
//	expect valve a maybe-open              what is shown of a valve
//	expect opened a 06:00:30               when its last run was begun
//	expect closed a 06:02:00 [shot-done]   when it was last closed, and why
//	expect ran a 90s                       how long it last let water through
//	expect runs a 3                        runs begun since the start
//	expect used a 180s                     what counts against max_per_day
//	expect moisture a 28 | none            to a tenth
//	expect alarm CODE SUBJECT | expect no-alarm CODE SUBJECT
//	expect answer accepted|refused [CODE]  of the last order
//	expect probe a1 implausible            a probe's quality
func (r *Runner) expect(c Line) {
	v := r.world.View()
	switch what := c.arg(0); what {
	case "open", "shut":
		if r.world.Open(c.arg(1)) != (what == "open") {
			r.miss(c, "valve %s is not %s", c.arg(1), what)
		}
	case "opened", "closed":
		r.expectTime(c)
	case "ran", "used":
		r.expectLength(c, &v)
	case "runs":
		if got := itoa(r.begun[c.arg(1)]); got != c.arg(2) {
			r.miss(c, "zone %s had %s runs, want %s", c.arg(1), got, c.arg(2))
		}
	case "moisture":
		r.expectMoisture(c, &v)
	case "alarm", "no-alarm":
		r.expectAlarm(c, &v)
	case "answer":
		r.expectAnswer(c)
	case "valve", "probe":
		r.expectShown(c, &v)
	default:
		r.expectZone(c, &v)
	}
}

func (r *Runner) zoneView(c Line, v *zones.View, id string) *zones.ZoneView {
	for i := range v.Zones {
		if v.Zones[i].ID == id {
			return &v.Zones[i]
		}
	}
	r.miss(c, "no zone %q", id)
	return &zones.ZoneView{}
}

func (r *Runner) expectZone(c Line, v *zones.View) {
	z := r.zoneView(c, v, c.arg(0))
	if string(z.State) != c.arg(1) || c.arg(2) != "" && string(z.Reason) != c.arg(2) {
		r.miss(c, "zone %s is %s (%s: %s), want %s %s", z.ID, z.State, z.Reason, z.Because, c.arg(1), c.arg(2))
	}
}

// expectTime compares the last opening or closing with a time of day, to the second.
func (r *Runner) expectTime(c Line) {
	v := r.valve(c.arg(1))
	at := v.opened
	if c.arg(0) == "closed" {
		at = v.closed
	}
	got := at.In(r.plan.Calendar.Location).Format("15:04:05")
	if at.IsZero() {
		got = "never"
	}
	if got != c.arg(2) {
		r.miss(c, "valve %s was last %s at %s, want %s", c.arg(1), c.arg(0), got, c.arg(2))
	}
	if why := c.arg(3); why != "" && string(v.reason) != why {
		r.miss(c, "valve %s was closed because of %s, want %s", c.arg(1), v.reason, why)
	}
}

func (r *Runner) expectLength(c Line, v *zones.View) {
	got := r.valve(c.arg(1)).lastRun
	if c.arg(0) == "used" {
		got = time.Duration(r.zoneView(c, v, c.arg(1)).UsedSeconds * float64(time.Second))
	}
	want, err := time.ParseDuration(c.arg(2))
	if err != nil || (got-want).Abs() > 100*time.Millisecond {
		r.miss(c, "%s %s is %s, want %s", c.arg(0), c.arg(1), got, c.arg(2))
	}
}

func (r *Runner) expectMoisture(c Line, v *zones.View) {
	m := r.zoneView(c, v, c.arg(1)).Moisture
	if c.arg(2) == "none" {
		if m != nil {
			r.miss(c, "moisture of %s is %.1f %%, want none", c.arg(1), *m)
		}
		return
	}
	var want float64
	if err := read(c.arg(2), &want); err != nil || m == nil || math.Abs(*m-want) > 0.05 {
		r.miss(c, "moisture of %s is %s, want %s", c.arg(1), number(m), c.arg(2))
	}
}

func number(v *float64) string {
	if v == nil {
		return "not known"
	}
	return percentText(*v)
}

func (r *Runner) expectAlarm(c Line, v *zones.View) {
	stands := false
	for i := range v.Alarms {
		a := &v.Alarms[i]
		stands = stands || string(a.Code) == c.arg(1) && (c.arg(2) == "" || a.Subject == c.arg(2))
	}
	if stands != (c.arg(0) == "alarm") {
		r.miss(c, "alarm %s %s: stands=%t; all: %v", c.arg(1), c.arg(2), stands, alarmCodes(v))
	}
}

func alarmCodes(v *zones.View) []string {
	var list []string
	for i := range v.Alarms {
		list = append(list, string(v.Alarms[i].Code)+" "+v.Alarms[i].Subject)
	}
	return list
}

func (r *Runner) expectAnswer(c Line) {
	if r.answer == nil {
		r.miss(c, "no order was answered")
		return
	}
	if r.answer.Accepted != (c.arg(1) == "accepted") || c.arg(2) != "" && string(r.answer.Reason) != c.arg(2) {
		r.miss(c, "the answer is accepted=%t (%s: %s), want %s %s", r.answer.Accepted, r.answer.Reason, r.answer.Because, c.arg(1), c.arg(2))
	}
}

// expectShown compares what is shown of a valve or a probe.
func (r *Runner) expectShown(c Line, v *zones.View) {
	got := "not there"
	for i := range v.Valves {
		if c.arg(0) == "valve" && v.Valves[i].ID == c.arg(1) {
			got = string(v.Valves[i].State)
		}
	}
	for i := range v.Probes {
		if c.arg(0) == "probe" && v.Probes[i].ID == c.arg(1) {
			got = string(v.Probes[i].Quality)
		}
	}
	if got != c.arg(2) {
		r.miss(c, "%s %s is %s, want %s", c.arg(0), c.arg(1), got, c.arg(2))
	}
}
