package schedule

import (
	"slices"
	"time"
)

// cronReach is how far back At looks for what a cron window did before t; it only
// bounds Since.
const cronReach = time.Hour

// At says which window is open at t, and until when the answer stands. Of windows
// that are open together a dated one comes before a daily one, then the one that
// started earlier, then the one listed first. All times it gives are on the room's
// clock (cal.Location).
func At(cal *Calendar, z *Zone, t time.Time) Situation {
	a := newAlmanac(cal, z)
	t = a.here(t)
	now := a.lightAt(t)
	s := Situation{
		Stage: now.name, CropDay: now.cropDay, LowestBelow: lowestBelow(now.windows),
		LightsOn: now.on, Since: now.on, Until: now.next,
	}
	open := a.openAt(t, now, &s)
	s.Open = open.window != nil
	if s.Open {
		s.Instance = a.instance(&open)
	}
	s.Fallow = !s.Open && len(now.windows) == 0
	return s
}

// openAt finds the opening that has the time at t, and narrows Since and Until to
// the starts and ends next to it.
func (a *almanac) openAt(t time.Time, now light, s *Situation) (open opening) {
	since := t.Add(-cronReach)
	for l := a.farthest(now); !l.on.After(t); l = a.after(l) {
		if hasCron(l.windows) {
			s.bound(t, since)
		}
		for o := range a.openings(&l, since, t) {
			s.bound(t, o.start)
			s.bound(t, o.end)
			if o.holds(t) && o.prevails(&open) {
				open = o
			}
		}
	}
	return open
}

func hasCron(windows []Window) bool {
	return slices.ContainsFunc(windows, func(w Window) bool { return w.Cron != "" })
}

// bound narrows Since and Until so that they do not reach over the boundary.
func (s *Situation) bound(t, boundary time.Time) {
	if boundary.After(t) {
		s.Until = earlier(s.Until, boundary)
	} else {
		s.Since = later(s.Since, boundary)
	}
}
