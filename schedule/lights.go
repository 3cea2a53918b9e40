package schedule

import "time"

// An almanac answers for one zone on one calendar, for as long as one call takes.
type almanac struct {
	loc  *time.Location
	days []Day
	zone *Zone
	over time.Time // the lights-on after the crop's last day; zero = no end
}

func newAlmanac(cal *Calendar, z *Zone) *almanac {
	a := &almanac{loc: cal.Location, days: cal.Days, zone: z}
	if a.loc == nil {
		a.loc = time.UTC
	}
	if c := z.Crop; c != nil && c.Ends > 0 {
		a.over = a.lightsOn(a.shown(c.Day1.number()+day(c.Ends), 1))
	}
	return a
}

// here shows the instant on the room's clock, without the reading of another.
func (a *almanac) here(t time.Time) time.Time { return t.Round(0).In(a.loc) }

// lights gives the lights of a date: those of the last Day that is not after it.
func (a *almanac) lights(d day) Day {
	for i := len(a.days) - 1; i > 0; i-- {
		if a.days[i].From.number() <= d {
			return a.days[i]
		}
	}
	if len(a.days) == 0 {
		return Day{}
	}
	return a.days[0]
}

func (a *almanac) lightsOn(d day) time.Time {
	at, _ := place(a.loc, d.face(a.lights(d).On))
	return at
}

// shown gives the first date from d on, in steps of 1 or -1, that the room's clock
// does not skip.
func (a *almanac) shown(d, step day) day {
	for skips(a.loc, d) {
		d += step
	}
	return d
}

// A light is the time from one lights-on to the next, the span in which one stage
// is in force and the numbers of its windows stand.
type light struct {
	date     day
	on, next time.Time
	routine
}

// lightAt gives the light that holds t.
func (a *almanac) lightAt(t time.Time) light {
	d := a.shown(dayOf(read(t))+1, -1)
	for a.lightsOn(d).After(t) {
		d = a.shown(d-1, -1)
	}
	return a.light(d)
}

func (a *almanac) light(d day) light {
	l := light{date: d, on: a.lightsOn(d), routine: a.zone.routine(d)}
	l.next = a.lightsOn(a.shown(d+1, 1))
	return l
}

func (a *almanac) after(l light) light  { return a.light(a.shown(l.date+1, 1)) }
func (a *almanac) before(l light) light { return a.light(a.shown(l.date-1, -1)) }

// farthest gives the earliest light in which a window may have begun that is open
// in l or ended in it. Without dated day lengths no window is longer than a day on
// the clock face; between two day lengths it may grow to just under two.
func (a *almanac) farthest(l light) light {
	back := 2
	if len(a.days) > 1 {
		back = 3
	}
	for range back {
		l = a.before(l)
	}
	return l
}
