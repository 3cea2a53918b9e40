package configs

import (
	"time"

	"rillgate/schedule"
)

const wholeDay = 24 * time.Hour

// checkSchedule checks what schedule.yaml says by itself.
func (c *checker) checkSchedule() {
	s := c.schedule
	s.checkDays()
	s.crons = maxCrons
	for i := range s.routines {
		s.checkWindows(s.routines[i].windows)
	}
	for i := range s.zones {
		s.checkWindows(s.zones[i].windows)
	}
	for i := range s.crops {
		s.checkCrop(&s.crops[i])
	}
}

// checkDays: the first entry holds since ever, each later one from its date.
func (s *rawSchedule) checkDays() {
	last := schedule.Date{}
	for i, d := range s.days {
		switch {
		case i == 0 && d.from.given:
			d.from.at.fail(CodeConflict, "leave `from` away in the first entry", "the first entry of `day` holds until the second begins: it has no `from`")
		case i > 0 && !d.from.given:
			d.at.fail(CodeMissing, `write the first date of this length of day: from: "2027-03-01"`, "`from` is missing: each later entry of `day` says when it begins")
		case i > 0 && d.from.ok && !before(last, d.from.v):
			d.from.at.fail(CodeConflict, "put the entries in the order of their dates", "this entry of `day` does not begin after the one before it")
		}
		if d.from.ok && i > 0 {
			last = d.from.v
		}
		if d.on.ok && d.off.ok && d.on.v == d.off.v {
			d.off.at.fail(CodeConflict, "give the day some hours of light and some of dark", "lights_on and lights_off are the same time")
		}
	}
}

func before(a, b schedule.Date) bool {
	return time.Date(a.Year, a.Month, a.Day, 0, 0, 0, 0, time.UTC).Before(time.Date(b.Year, b.Month, b.Day, 0, 0, 0, 0, time.UTC))
}

// maxCrons bounds the cron windows of a file: each is looked through for overlaps.
const maxCrons = 64

// maxWindows bounds a list, so that every pair can be compared.
const maxWindows = 24

// checkWindows checks a list of windows, each for itself and against the others.
func (s *rawSchedule) checkWindows(windows []rawWindow) {
	if len(windows) > maxWindows {
		windows[maxWindows].at.fail(CodeRange, "split it into routines", "a routine has at most %d windows", maxWindows)
		return
	}
	names := register{}
	for i := range windows {
		w := &windows[i]
		names.claim("window", w.name)
		timed := s.checkTimes(w)
		if s.crons -= boolInt(w.cron.given); s.crons == -1 {
			w.cron.at.fail(CodeRange, "use `on` with `from` and `until`", "the file has more than %d cron windows", maxCrons)
		}
		w.sound = timed && s.checkLengths(w) && s.crons >= 0
		w.checkLevels()
	}
	s.checkOverlaps(windows)
}

// checkTimes: a window has from and until, or cron and for. It reports whether the
// times can be reckoned with.
func (s *rawSchedule) checkTimes(w *rawWindow) bool {
	if w.cron.given {
		return w.checkCronTimes()
	}
	if w.length.given {
		w.length.at.fail(CodeConflict, "say when it shuts with `until`, or write `cron`", "`for` goes with `cron`")
	}
	sound := s.checkEdge(w, "from", w.from)
	return s.checkEdge(w, "until", w.until) && sound && (!w.on.given || w.on.ok)
}

func (s *rawSchedule) checkEdge(w *rawWindow, key string, edge item[schedule.Edge]) bool {
	switch {
	case !edge.given:
		w.at.fail(CodeMissing, "write `"+key+": lights_on + 1 h` or `"+key+`: "06:00"`+"`", "the window `%s` has no `%s`", w.name.v, key)
	case edge.ok && edge.v.Anchor != schedule.AtClock && !s.hasDay:
		edge.at.fail(CodeMissing, `write day: {lights_on: "06:00", lights_off: "18:00"}`, "`%s` goes by the lights, but `day` is missing", key)
		return false
	}
	return edge.ok
}

func (w *rawWindow) checkCronTimes() bool {
	for i, at := range []place{w.from.at, w.until.at, w.on.at} {
		if at.ok() {
			at.fail(CodeConflict, "leave it away: `cron` says when it opens, `for` how long", "`%s` does not go with `cron`", [...]string{"from", "until", "on"}[i])
		}
	}
	if !w.length.given {
		w.at.fail(CodeMissing, "write `for: 30 min`", "the cron window `%s` has no `for`: how long is it open?", w.name.v)
	}
	return w.cron.ok && w.length.ok
}

// checkLengths: a window is open for some time, at most a day, under every length of day.
func (s *rawSchedule) checkLengths(w *rawWindow) bool {
	if w.cron.given {
		return true
	}
	from, until := w.from.v, w.until.v
	if from.Anchor == until.Anchor && (until.Offset == from.Offset || until.Offset < from.Offset && from.Anchor != schedule.AtClock) {
		hint := "let it shut after it opens"
		if from.Anchor == schedule.AtClock {
			hint = "a window has some length; a whole day is \"00:00\" until \"23:59\""
		}
		w.until.at.fail(CodeConflict, hint, "the window `%s` shuts %s it opens", w.name.v, sooner(until.Offset < from.Offset))
		return false
	}
	for _, d := range s.lights() {
		if length := span24(w, d); length == 0 || length > wholeDay {
			w.until.at.fail(CodeConflict, "set its ends anew", "the window `%s` %s with the day in line %d", w.name.v, lengthFault(length), d.at.line)
			return false
		}
	}
	return true
}

func sooner(before bool) string {
	if before {
		return "before"
	}
	return "when"
}

func lengthFault(d time.Duration) string {
	if d == 0 {
		return "has no length"
	}
	return "is longer than 24 h (" + timeWords(d) + ")"
}

// lights gives the days whose times were read well; where no day is written, one
// that only clock times meet.
func (s *rawSchedule) lights() (days []rawDay) {
	if !s.hasDay {
		return []rawDay{{}}
	}
	for _, d := range s.days {
		if d.on.ok && d.off.ok {
			days = append(days, d)
		}
	}
	return days
}

// face gives where an edge lies on the clock face of a day.
func face(e schedule.Edge, d rawDay) time.Duration {
	switch e.Anchor {
	case schedule.LightsOn:
		return d.on.v + e.Offset
	case schedule.LightsOff:
		return d.off.v + e.Offset
	}
	return e.Offset
}

// span24 gives a window's length on a day: `until` before `from` is the next day's.
func span24(w *rawWindow, d rawDay) time.Duration {
	length := face(w.until.v, d) - face(w.from.v, d)
	for length < 0 {
		length += wholeDay
	}
	return length
}

// checkLevels: what asks for water must make sense together.
func (w *rawWindow) checkLevels() {
	conflict := func(at place, hint, format string, args ...any) { at.fail(CodeConflict, hint, format, args...) }
	if w.below.given && w.dryBack.given {
		conflict(w.dryBack.at, "for a fall with a lowest moisture write `dry_back` with `floor`", "`below` and `dry_back` exclude each other")
	}
	if w.stopAt.given && w.dryBack.given {
		conflict(w.stopAt.at, "leave one of them away: after a shot the fall is reckoned anew by itself", "`stop_at` and `dry_back` exclude each other")
	}
	if w.floor.given && !w.dryBack.given {
		conflict(w.floor.at, "write `below` where there is no `dry_back`", "`floor` stands beside `dry_back` only")
	}
	if w.below.ok && w.stopAt.ok && w.stopAt.v <= w.below.v {
		conflict(w.stopAt.at, "stop_at is the higher of the two", "stop_at, %s, is not over below, %s", levelWords(w.stopAt.v), levelWords(w.below.v))
	}
	if w.withoutProbes.ok && w.withoutProbes.v && !w.timed() {
		conflict(w.withoutProbes.at, "leave it away, or leave below, stop_at and dry_back away", "the window `%s` asks for moisture, so it needs probes", w.name.v)
	}
}

func (w *rawWindow) timed() bool { return !w.below.given && !w.stopAt.given && !w.dryBack.given }
