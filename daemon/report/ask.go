package report

import (
	"fmt"
	"time"
)

// mostDays bounds a report.
const mostDays = 31

// Ask says which report is wanted.
type Ask struct {
	Day  string `json:"day,omitempty"`  // 2027-03-02, "yesterday"; "" or "today" = today
	Days int    `json:"days,omitempty"` // from Day on, at most 31; 0 = 1
	Week bool   `json:"week,omitempty"` // the week of Day, Monday to Sunday (ISO 8601), in the place of Days
	Zone string `json:"zone,omitempty"` // "" = all
}

// Edges gives the midnights that bound the days: one more than there are days. Days that
// have not begun are left out. It fails on a date that is none, and when no day is left.
func (a Ask) Edges(now time.Time, loc *time.Location) ([]time.Time, error) {
	first, err := a.first(now.In(loc))
	if err != nil {
		return nil, err
	}
	days := max(a.Days, 1)
	if a.Week {
		first, days = first.AddDate(0, 0, -(int(first.Weekday())+6)%7), 7
	}
	if days > mostDays {
		return nil, fmt.Errorf("report %d days: %d at most", days, mostDays)
	}
	y, m, d := first.Date()
	edges := []time.Time{time.Date(y, m, d, 0, 0, 0, 0, loc)}
	for n := 1; n <= days && !edges[n-1].After(now); n++ {
		edges = append(edges, time.Date(y, m, d+n, 0, 0, 0, 0, loc))
	}
	if len(edges) < 2 {
		return nil, fmt.Errorf("report %s: that day has not begun", edges[0].Format(time.DateOnly))
	}
	return edges, nil
}

// first gives an instant of the first day, its noon: no clock changes then.
func (a Ask) first(now time.Time) (time.Time, error) {
	y, m, d := now.Date()
	switch a.Day {
	case "", "today":
	case "yesterday":
		d--
	default:
		t, err := time.ParseInLocation(time.DateOnly, a.Day, now.Location())
		if err != nil {
			return t, fmt.Errorf("read the day %q: write it like 2027-03-02, or today, or yesterday", a.Day)
		}
		y, m, d = t.Date()
	}
	return time.Date(y, m, d, 12, 0, 0, 0, now.Location()), nil
}
