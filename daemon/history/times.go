package history

import (
	"fmt"
	"time"
)

// clockLayouts are the forms of a time on the room's clock, beside a date alone.
var clockLayouts = [...]string{"2006-01-02 15:04", "2006-01-02T15:04", "2006-01-02 15:04:05", "2006-01-02T15:04:05"}

// readTime gives the first instant that s names and the end of it: of a date the next
// midnight, of anything else the same instant.
func readTime(s string, now time.Time, loc *time.Location) (begin, end time.Time, err error) {
	today := now.In(loc)
	switch s {
	case "now":
		return now, now, nil
	case "today":
		return day(today.Date())(loc)
	case "yesterday":
		return day(today.AddDate(0, 0, -1).Date())(loc)
	}
	if t, err := time.Parse(time.RFC3339, s); err == nil {
		return t, t, nil
	}
	if t, err := time.Parse(time.DateOnly, s); err == nil {
		return day(t.Date())(loc)
	}
	for _, layout := range clockLayouts {
		if t, err := time.Parse(layout, s); err == nil {
			at, err := onClock(t, loc)
			return at, at, err
		}
	}
	return begin, end, fmt.Errorf("read the time %q: write it like 2027-03-02, \"2027-03-02 06:30\", 2027-03-02T06:30:00+01:00, today or yesterday", s)
}

// day gives the first instant of a date, and of the next one.
func day(y int, m time.Month, d int) func(*time.Location) (begin, end time.Time, err error) {
	return func(loc *time.Location) (time.Time, time.Time, error) {
		return firstOf(y, m, d, loc), firstOf(y, m, d+1, loc), nil
	}
}

// step is finer than any change of a clock is long.
const step = 15 * time.Minute

// firstOf gives the first instant of a date: 00:00, the first of two where it comes
// twice, the end of the gap where it never comes.
func firstOf(y int, m time.Month, d int, loc *time.Location) time.Time {
	t := time.Date(y, m, d, 12, 0, 0, 0, loc)
	date := t.Format(time.DateOnly)
	for before := t.Add(-step); before.Format(time.DateOnly) == date; before = t.Add(-step) {
		t = before
	}
	return t
}

// onClock gives the instant at which the clock of loc shows the face of t.
func onClock(t time.Time, loc *time.Location) (time.Time, error) {
	face := t.Format(time.DateTime)
	at := time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), 0, loc)
	if at.Format(time.DateTime) != face {
		return at, fmt.Errorf("read the time %q: the clock of %s never shows it that day, it leaps over it", face, loc)
	}
	for off := -3 * time.Hour; off <= 3*time.Hour; off += step {
		if other := at.Add(off); off != 0 && other.Format(time.DateTime) == face {
			first, second := at, other
			if off < 0 {
				first, second = other, at
			}
			return at, fmt.Errorf("read the time %q: the clock of %s shows it twice that day; write %s or %s", face, loc, first.Format(time.RFC3339), second.Format(time.RFC3339))
		}
	}
	return at, nil
}
