package walk

import "time"

// sure is how many standard errors make a thing sure: some hundred cells of a walk are
// looked at, most of them at several instants.
const sure = 3.5

// restSlope is how fast a bed may dry or drain and count as at rest; leakSlope how fast
// one must rise to count as leaking, points/min.
const (
	restSlope  = 0.05
	leakSlope  = 0.02
	slopeKnown = 0.015 // standard error to which a zone's trend is to be known
	trendSpan  = 20 * time.Minute
)

// rested reports whether the beds are at rest, or have had their time for it.
func (w *Walk) rested() bool {
	waited := w.age - w.since
	if w.row == 0 && w.age < w.start+restAtLeast {
		return false
	}
	if waited >= restAtMost {
		return true
	}
	for i := range w.tracks {
		if t := &w.tracks[i]; len(t.all) > 0 && len(w.base(t)) < enough {
			return false
		}
	}
	w.sd = noiseOf(w.lines(w.trended))
	for z := range w.res.Zones {
		t := w.trend(z)
		if w.heard(z) && (t.se > slopeKnown || t.slope-t.se > leakSlope || t.slope+t.se < -restSlope) {
			return false
		}
	}
	return true
}

// trended gives the readings that the trend of a bed at rest is reckoned from.
func (w *Walk) trended(t *track) []sample {
	return t.between(max(w.freeOf(t.zone), w.age-trendSpan), w.age)
}

// trend gives how fast a zone dries or drains now.
func (w *Walk) trend(zone int) trend { return trendOf(w.ofZone(w.lines(w.trended), zone), w.sd) }

// heard reports whether any probe of a zone was heard at all.
func (w *Walk) heard(zone int) bool {
	for i := range w.tracks {
		if w.tracks[i].zone == zone && len(w.tracks[i].all) > 0 {
			return true
		}
	}
	return false
}

// base gives the readings before now that a rise is reckoned from: of baseSpan, longer
// where a probe speaks seldom.
func (w *Walk) base(t *track) []sample {
	s := t.between(w.age-baseSpan, w.age)
	if len(s) >= enough {
		return s
	}
	return t.between(max(w.age-5*baseSpan, w.start-time.Minute, w.freeOf(t.zone)), w.age)
}

func (w *Walk) freeOf(zone int) time.Duration {
	if zone < 0 {
		return w.start
	}
	return w.free[zone]
}

// lines fits the readings that some rule picks of each probe.
func (w *Walk) lines(pick func(*track) []sample) []fit {
	out := make([]fit, len(w.tracks))
	for i := range w.tracks {
		out[i] = line(pick(&w.tracks[i]))
	}
	return out
}

// ofZone gives the lines of a zone's probes.
func (w *Walk) ofZone(lines []fit, zone int) (out []fit) {
	for i := range lines {
		if w.tracks[i].zone == zone {
			out = append(out, lines[i])
		}
	}
	return out
}

// rememberBase keeps what each probe showed before the opening, and looks for zones that
// rise though nothing was open for long.
func (w *Walk) rememberBase() {
	w.sd = noiseOf(w.lines(w.trended))
	lines := w.lines(w.base)
	for i := range lines {
		w.tracks[i].base = lines[i]
	}
	w.trends = w.trends[:0]
	for z := range w.res.Zones {
		w.trends = append(w.trends, w.trend(z))
	}
	for z := range w.res.Zones {
		if w.age < w.free[z]+restAtMost && w.free[z] > w.start {
			continue // watered a moment ago: it may still rise by itself
		}
		from := max(w.free[z], w.age-time.Hour)
		long := w.ofZone(w.lines(func(t *track) []sample { return t.between(from, w.age) }), z)
		if t := trendOf(long, w.sd); t.steep(leakSlope) {
			w.leaks(z, t.slope*60)
		}
	}
}
