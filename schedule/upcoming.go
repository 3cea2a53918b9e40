package schedule

import (
	"slices"
	"time"
)

// horizon is how far Next looks ahead: a year, and then some.
const horizon = 400 * wholeDay

// Upcoming gives the instances that start in [from, until) and those open at from,
// in order of start. It shows them whole: where two are open together, At says
// which has the time.
func Upcoming(cal *Calendar, z *Zone, from, until time.Time) []Instance {
	a := newAlmanac(cal, z)
	from, until = a.here(from), a.here(until)
	var found []opening
	for l := a.farthest(a.lightAt(from)); l.on.Before(until) || !l.on.After(from); l = a.after(l) {
		for o := range a.openings(&l, from, later(from, until)) {
			if o.end.After(from) && (o.start.Before(until) || !o.start.After(from)) {
				found = append(found, o)
			}
		}
	}
	return a.instances(found)
}

func (a *almanac) instances(found []opening) []Instance {
	slices.SortStableFunc(found, func(o, p opening) int { return o.compare(&p) })
	instances := make([]Instance, len(found))
	for i := range found {
		instances[i] = a.instance(&found[i])
	}
	return instances
}

// Next gives the instance that is the next to start after t. False: none does in
// the next 400 days.
func Next(cal *Calendar, z *Zone, t time.Time) (Instance, bool) {
	a := newAlmanac(cal, z)
	t = a.here(t)
	end := t.Add(horizon)
	for l := a.lightAt(t); !l.on.After(end); l = a.after(l) {
		if o := a.firstAfter(&l, t); o.window != nil {
			return a.instance(&o), true
		}
	}
	return Instance{}, false
}

// firstAfter gives the first opening of the light that starts after t, or none.
func (a *almanac) firstAfter(l *light, t time.Time) (first opening) {
	for o := range a.openings(l, t, t) {
		if o.start.After(t) && (first.window == nil || o.compare(&first) < 0) {
			first = o
		}
	}
	return first
}

// instance names an opening by window and date of its start. Cron windows, and the
// second opening of one name on one date, have the time of day in it too.
func (a *almanac) instance(o *opening) Instance {
	date := o.face.Format(time.DateOnly)
	if o.window.Cron != "" || a.again(o) {
		date = o.face.Format("2006-01-02T15:04")
	}
	return Instance{ID: date + "/" + o.window.Name, Window: *o.window, Start: o.start, End: o.end}
}

// again reports whether a window of this name has opened on the same date before:
// as one stage gives way to another, or one length of day to the next.
func (a *almanac) again(o *opening) bool {
	if a.zone.Crop == nil && len(a.days) < 2 {
		return false
	}
	date := dayOf(o.face)
	midnight, _ := place(a.loc, date.face(0))
	for l := a.lightAt(midnight); !l.on.After(o.start); l = a.after(l) {
		w := named(l.windows, o.window.Name)
		if w == nil || w.Cron != "" {
			continue
		}
		for p := range a.starts(w, l.on, l.next) {
			if dayOf(p.face) == date && p.start.Before(o.start) {
				return true
			}
		}
	}
	return false
}
