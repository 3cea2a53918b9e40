package daemon

import (
	"sync"
	"time"

	"rillgate/daemon/page"
	"rillgate/zones"
)

// recentSpan is how far back the page looks.
const recentSpan = 25 * time.Hour

// unsavedSpan is how long the store may lack a minute: as long as a failing one may
// hold it up.
const unsavedSpan = viewsMost * time.Minute

// recent keeps what the page draws: each zone's moisture by the minute and its runs,
// of the last day; of probes what the store may not have yet.
type recent struct {
	mu     sync.Mutex
	points map[string][]page.Point
	shots  map[string][]page.Shot
	probes map[page.Series][]page.Point
}

func newRecent() *recent {
	return &recent{points: map[string][]page.Point{}, shots: map[string][]page.Shot{}, probes: map[page.Series][]page.Point{}}
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
	for _, one := range samples([]zones.View{*v}) {
		if of, ok := seriesShown(one.Kind, one.ID); ok && of.Probe != "" {
			p := one.Points[0]
			r.probes[of] = within(append(r.probes[of], page.Point{At: p.At, Value: float64(p.Value) / 1000, Known: true}), unsavedSpan)
		}
	}
}

// within lets go of points that are older than the last one by more than a span, or
// would lie ahead of it.
func within(list []page.Point, span time.Duration) []page.Point {
	last := list[len(list)-1]
	list = list[:len(list)-1]
	for len(list) > 0 && !list[len(list)-1].At.Before(last.At) {
		list = list[:len(list)-1]
	}
	for len(list) > 0 && last.At.Sub(list[0].At) > span {
		list = list[1:]
	}
	return append(list, last)
}

// point is called with mu held. A wall clock that was set back takes the points
// with it that would now lie ahead.
func (r *recent) point(zone string, p page.Point) {
	r.points[zone] = within(append(r.points[zone], p), recentSpan)
}

// unsaved gives the points of a probe's series in [from, to) that are in memory.
func (r *recent) unsaved(of page.Series, from, to time.Time) []page.Point {
	r.mu.Lock()
	defer r.mu.Unlock()
	return between(r.probes[of], from, to)
}

// between gives copies of the points in [from, to).
func between(points []page.Point, from, to time.Time) (out []page.Point) {
	for _, p := range points {
		if !p.At.Before(from) && p.At.Before(to) {
			out = append(out, p)
		}
	}
	return out
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

// run puts in a run of an earlier process.
func (r *recent) run(zone string, s page.Shot) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.shots[zone] = append(r.shots[zone], s)
}

// history gives a zone's points in [from, to).
func (r *recent) history(zone string, from, to time.Time) []page.Point {
	r.mu.Lock()
	defer r.mu.Unlock()
	return between(r.points[zone], from, to)
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
