package configs

import (
	"time"

	"rillgate/schedule"
)

// checkOverlaps: two windows of one rank (daily, or dated) are never open at one
// time, under any length of day.
func (s *rawSchedule) checkOverlaps(windows []rawWindow) {
	for i := range windows {
		if w := &windows[i]; w.sound && w.cron.given {
			w.checkItself()
		}
		for j := range windows[:i] {
			if a, b := &windows[j], &windows[i]; a.sound && b.sound && a.dated() == b.dated() {
				s.checkPair(a, b)
			}
		}
	}
}

func (w *rawWindow) dated() bool { return w.cron.given || w.on.given }

func (s *rawSchedule) checkPair(a, b *rawWindow) {
	for _, d := range s.lights() {
		if !meet(a, b, d) {
			continue
		}
		when := ""
		if len(s.days) > 1 {
			when = " with the day in line " + itoa(d.at.line)
		}
		b.name.at.fail(CodeOverlap, "let one shut before the other opens; a dated window (cron, on) may lie over daily ones", "the window `%s` overlaps `%s` (line %d)%s", b.name.v, a.name.v, a.name.at.line, when)
		return
	}
}

// meet reports whether two windows of one rank are open together on a day.
func meet(a, b *rawWindow, d rawDay) bool {
	switch {
	case a.cron.given && b.cron.given:
		return cronMeets(a, b) || cronMeets(b, a)
	case a.cron.given:
		return weekMeetsCron(b, a, d)
	case b.cron.given:
		return weekMeetsCron(a, b, d)
	case a.on.given:
		return weeksMeet(a, b, d)
	}
	return circleMeets(face(a.from.v, d), span24(a, d), face(b.from.v, d), span24(b, d), wholeDay)
}

// circleMeets compares two spans that come again every round.
func circleMeets(a, aLong, b, bLong, round time.Duration) bool {
	return mod(b-a, round) < aLong || mod(a-b, round) < bLong
}

func mod(d, round time.Duration) time.Duration { return (d%round + round) % round }

func weeksMeet(a, b *rawWindow, d rawDay) bool {
	for i := range time.Duration(7) {
		for j := range time.Duration(7) {
			if a.on.v.Has(time.Weekday(i)) && b.on.v.Has(time.Weekday(j)) &&
				circleMeets(i*wholeDay+face(a.from.v, d), span24(a, d), j*wholeDay+face(b.from.v, d), span24(b, d), 7*wholeDay) {
				return true
			}
		}
	}
	return false
}

// A cron expression has no formula for its times: its openings are looked through,
// this many of them, from a fixed date on. 29 February is reached within four years.
const cronLook = 200

func cronStart() time.Time { return time.Date(2025, 12, 31, 23, 59, 0, 0, time.UTC) }

// eachCron visits openings of a cron window until visit returns false.
func (w *rawWindow) eachCron(visit func(start, end time.Time) bool) {
	at := cronStart()
	for range cronLook {
		next, ok := schedule.CronNext(w.cron.v, at)
		if !ok || !visit(next, next.Add(w.length.v)) {
			return
		}
		at = next
	}
}

// openWithin reports whether a cron window is open at some time in [start, end).
func (w *rawWindow) openWithin(start, end time.Time) bool {
	next, ok := schedule.CronNext(w.cron.v, start.Add(-w.length.v))
	return ok && next.Before(end)
}

func cronMeets(a, b *rawWindow) (met bool) {
	a.eachCron(func(start, end time.Time) bool {
		met = b.openWithin(start, end)
		return !met
	})
	return met
}

// checkItself: a cron window has shut before it opens again.
func (w *rawWindow) checkItself() {
	var shut time.Time
	w.eachCron(func(start, end time.Time) bool {
		if start.Before(shut) {
			w.length.at.fail(CodeOverlap, "a shorter `for`, or a cron expression that comes due less often", "the window `%s` opens again before it has shut", w.name.v)
			return false
		}
		shut = end
		return true
	})
}

// weekMeetsCron compares a window of weekdays with a cron window, each way: a year
// of the former, and what is looked through of the latter.
func weekMeetsCron(week, cron *rawWindow, d rawDay) (met bool) {
	monday := time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)
	for i := range 371 {
		day := monday.AddDate(0, 0, i)
		start := day.Add(face(week.from.v, d))
		if week.on.v.Has(day.Weekday()) && cron.openWithin(start, start.Add(span24(week, d))) {
			return true
		}
	}
	cron.eachCron(func(start, end time.Time) bool {
		met = week.openOn(start, end, d)
		return !met
	})
	return met
}

// openOn reports whether a window of weekdays is open at some time in [start, end).
func (w *rawWindow) openOn(start, end time.Time, d rawDay) bool {
	day := start.Truncate(wholeDay)
	for i := -3; i <= 3; i++ {
		date := day.AddDate(0, 0, i)
		opens := date.Add(face(w.from.v, d))
		if w.on.v.Has(date.Weekday()) && opens.Before(end) && start.Before(opens.Add(span24(w, d))) {
			return true
		}
	}
	return false
}
