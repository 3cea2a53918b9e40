package daemon

import (
	"sync"
	"time"

	"rillgate/daemon/page"
	"rillgate/zones"
)

// recentSpan is how far back the page looks.
const recentSpan = 25 * time.Hour

// recent keeps what the page draws: each zone's moisture by the minute and its runs,
// of the last day.
type recent struct {
	mu     sync.Mutex
	points map[string][]page.Point
	shots  map[string][]page.Shot
}

func newRecent() *recent {
	return &recent{points: map[string][]page.Point{}, shots: map[string][]page.Shot{}}
}

// sample takes a minute's look.
func (r *recent) sample(v *zones.View) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for i := range v.Zones {
		z := &v.Zones[i]
		p := page.Point{At: v.Wall, Known: z.Moisture != nil}
		if p.Known {
			p.Value = *z.Moisture
		}
		r.point(z.ID, p)
	}
}

// point is called with mu held. A wall clock that was set back takes the points
// with it that would now lie ahead.
func (r *recent) point(zone string, p page.Point) {
	list := r.points[zone]
	for len(list) > 0 && !list[len(list)-1].At.Before(p.At) {
		list = list[:len(list)-1]
	}
	for len(list) > 0 && p.At.Sub(list[0].At) > recentSpan {
		list = list[1:]
	}
	r.points[zone] = append(list, p)
}

// entry takes the begin and the end of a run from the journal.
func (r *recent) entry(at time.Time, e *zones.Entry) {
	r.mu.Lock()
	defer r.mu.Unlock()
	list := r.shots[e.Zone]
	switch e.Kind {
	case "run-opened":
		for len(list) > 0 && at.Sub(list[0].Start) > recentSpan {
			list = list[1:]
		}
		list = append(list, page.Shot{Start: at, Opened: e.Reason})
	case "run-closed":
		if n := len(list); n > 0 && list[n-1].End.IsZero() {
			s := &list[n-1]
			s.End, s.Closed, s.Litres = at, e.Reason, e.Litres
			if e.Seconds == 0 {
				list = list[:n-1] // it never opened
			}
		}
	default:
		return
	}
	r.shots[e.Zone] = list
}

// run puts in a run of an earlier process. One without an end was cut by its end.
func (r *recent) run(zone string, s page.Shot) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if s.End.IsZero() {
		s.End, s.Closed = s.Start, zones.AlarmUnfinishedRun
	}
	r.shots[zone] = append(r.shots[zone], s)
}

// history gives a zone's points in [from, to).
func (r *recent) history(zone string, from, to time.Time) (out []page.Point) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, p := range r.points[zone] {
		if !p.At.Before(from) && p.At.Before(to) {
			out = append(out, p)
		}
	}
	return out
}

// runs gives a zone's runs that were open within [from, to).
func (r *recent) runs(zone string, from, to time.Time) (out []page.Shot) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, s := range r.shots[zone] {
		if s.Start.Before(to) && (s.End.IsZero() || s.End.After(from)) {
			out = append(out, s)
		}
	}
	return out
}
