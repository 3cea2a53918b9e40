package schedule

import (
	"cmp"
	"iter"
	"time"
)

// An opening is an instance that has no id yet.
type opening struct {
	window     *Window
	place      int       // of the window in its list
	face       time.Time // of the start, before a skipped hour moved it
	start, end time.Time
}

func (o *opening) holds(t time.Time) bool { return !t.Before(o.start) && t.Before(o.end) }

// compare orders openings by start, then the dated first, then by face, so that what
// one gap moves to one instant keeps its order, then as listed.
func (o *opening) compare(p *opening) int {
	return cmp.Or(o.start.Compare(p.start), o.rank()-p.rank(), o.face.Compare(p.face), o.place-p.place)
}

// prevails reports whether o has the time where both are open.
func (o *opening) prevails(p *opening) bool {
	return p.window == nil || cmp.Or(o.rank()-p.rank(), o.compare(p)) < 0
}

// rank is lower for what takes the time from the others.
func (o *opening) rank() int {
	if o.window.Dated() {
		return 0
	}
	return 1
}

// openings gives what the light's windows have that starts in it, window after
// window, each in order of start. Of a cron window, what ended before since is left
// out; of any window, what comes after its first start past enough.
func (a *almanac) openings(l *light, since, enough time.Time) iter.Seq[opening] {
	return func(yield func(opening) bool) {
		for i := range l.windows {
			w := &l.windows[i]
			from := l.on
			if w.Cron != "" {
				from = later(from, since.Add(-w.For))
			}
			for o := range a.starts(w, from, l.next) {
				o.place = i
				if !yield(o) {
					return
				}
				if o.start.After(enough) {
					break
				}
			}
		}
	}
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

// starts gives the openings of w that start in [from, until), in order.
func (a *almanac) starts(w *Window, from, until time.Time) iter.Seq[opening] {
	if w.Cron != "" {
		return a.cronStarts(w, from, until)
	}
	return a.dayStarts(w, from, until)
}

// dayStarts goes by the dates whose start may lie in [from, until): lights are less
// than a day after their date, so a start is less than a day after date and offset.
func (a *almanac) dayStarts(w *Window, from, until time.Time) iter.Seq[opening] {
	return func(yield func(opening) bool) {
		lo, hi := span(a.loc, from, until)
		last := dayOf(hi.Add(-w.From.Offset))
		for d := dayOf(lo.Add(-w.From.Offset)); d <= last; d++ {
			o, ok := a.opening(w, d)
			if !ok || o.start.Before(from) {
				continue
			}
			if !o.start.Before(until) || !yield(o) {
				return
			}
		}
	}
}

// opening gives the opening that belongs to the date. A date that the clock skips
// has none; nor has a window whose two edges fall together.
func (a *almanac) opening(w *Window, d day) (opening, bool) {
	if w.On != 0 && !w.On.Has(d.weekday()) || skips(a.loc, d) {
		return opening{}, false
	}
	from := a.edge(w.From, d)
	length := a.close(w.Until, d, from).Sub(from)
	o, skipped := a.begin(w, from)
	if skipped {
		o.end = o.start.Add(length)
	} else {
		o.end, _ = place(a.loc, from.Add(length))
	}
	return a.clip(o)
}

func (a *almanac) begin(w *Window, face time.Time) (o opening, skipped bool) {
	o = opening{window: w, face: face}
	o.start, skipped = place(a.loc, face)
	return o, skipped
}

// clip ends an opening with the crop's last day and drops it when nothing is left.
func (a *almanac) clip(o opening) (opening, bool) {
	if !a.over.IsZero() {
		o.end = earlier(o.end, a.over)
	}
	return o, o.end.After(o.start)
}

// edge gives the face of an edge on a date.
func (a *almanac) edge(e Edge, d day) time.Time {
	switch e.Anchor {
	case LightsOn:
		return d.face(a.lights(d).On + e.Offset)
	case LightsOff:
		return d.face(a.lights(d).Off + e.Offset)
	default:
		return d.face(e.Offset)
	}
}

// close gives the face of the end of a window that begins at from and belongs to
// the date d: the edge of that date, or of the next one where that is before from.
// Where offsets put it more than a day ahead, an earlier date's edge is the next.
func (a *almanac) close(e Edge, d day, from time.Time) time.Time {
	end := a.edge(e, d)
	for end.Before(from) {
		d++
		end = a.edge(e, d)
	}
	for end.Sub(from) > wholeDay {
		d--
		sooner := a.edge(e, d)
		if !sooner.After(from) {
			break
		}
		end = sooner
	}
	return end
}

// cronStarts goes by the faces at which the expression is due. Those that a gap
// moves to one instant are one opening, the first. A date that the clock skips has
// none. An expression that is not valid opens nothing.
func (a *almanac) cronStarts(w *Window, from, until time.Time) iter.Seq[opening] {
	return func(yield func(opening) bool) {
		s, err := parseCron(w.Cron)
		if err != nil || !from.Before(until) {
			return
		}
		face, _ := span(a.loc, from, until)
		face = face.Truncate(time.Second).Add(-time.Second)
		var last time.Time
		for {
			due, ok := s.next(face)
			if !ok {
				return
			}
			face = due
			o, skipped := a.begin(w, face)
			if !o.start.Before(until) {
				return
			}
			if o.start.Before(from) || o.start.Equal(last) || skipped && skips(a.loc, dayOf(face)) {
				continue
			}
			last = o.start
			o.end = o.start.Add(w.For)
			if o, ok = a.clip(o); ok && !yield(o) {
				return
			}
		}
	}
}
