package walk

import (
	"math"
	"time"
)

// Where a rise begins to count: shares of what the opening should give, and at least.
const (
	shareRose  = 0.3 // of another zone's probe; and what `still` must surely be under
	leastRose  = 0.5 // points
	shareFaint = 0.1
	leastFaint = 0.25
	likely     = 2.5             // standard errors; a whole zone that rises a little is found by itself
	smooth     = 5 * time.Minute // over which readings are averaged
)

// rise is a cell with what the judgement of zones needs besides.
type rise struct {
	Cell
	lo, hi float64 // points, of the highest
	end    float64 // points, of the watch's end
	endSE  float64
}

// limits gives the rise that counts as one, and the faintest that is believed in.
func limits(expected float64) (clear, faint float64) {
	return max(shareRose*expected, leastRose), max(shareFaint*expected, leastFaint)
}

// riseOf reckons what a probe did from the opening until now. own says that the probe
// is of the valve's zone.
func (w *Walk) riseOf(i int, expected float64, own bool) rise {
	t := &w.tracks[i]
	after := t.between(w.openAt, w.age)
	x := rise{Cell: Cell{Probe: w.res.Probes[i].ID, Seen: Unheard}}
	if t.base.n < 3 || len(after) < 3 || after[len(after)-1].at < w.age-watchAtLeast {
		return x
	}
	peak, n, at := highest(after)
	b := &t.base
	zone := w.trendOfZone(t.zone)
	dt := at.Minutes() - b.mid
	se := w.sd*math.Sqrt(1/float64(b.n)+1/float64(n)) + min(zone.se, slopeKnown)*dt/2
	drift := max(min(zone.slope, restSlope), -restSlope) * dt
	up := peak - b.mean - drift
	x.lo, x.hi = up-max(-drift, 0)/2-sure*se, up+likely*se
	x.Points, x.Half = up, sure*se
	tail := t.between(w.age-smooth, w.age)
	if len(tail) == 0 {
		tail = after[len(after)-1:]
	}
	x.end = mean(tail) - b.mean - max(zone.slope*(w.age.Minutes()-b.mid), 0)
	x.endSE = w.sd * math.Sqrt(1/float64(b.n)+1/float64(len(tail)))
	x.Seen = seen(&x, expected, own)
	if x.Seen == Rose {
		x.Late = w.lateOf(after, b.mean+up/2)
	}
	return x
}

func (w *Walk) trendOfZone(zone int) trend {
	if zone < 0 || zone >= len(w.trends) {
		return trend{0, slopeKnown}
	}
	return w.trends[zone]
}

// seen decides. A probe of the valve's own zone is believed at a fainter rise: what is
// asked there is whether the water reaches it at all. Elsewhere a faint one is in doubt.
func seen(x *rise, expected float64, own bool) Seen {
	clear, faint := limits(expected)
	switch {
	case x.lo >= clear || own && x.lo >= faint:
		return Rose
	case x.hi < clear && x.lo < faint:
		return Still
	}
	return Doubt
}

// highest gives the highest mean over `smooth`, how many readings made it, and when.
func highest(s []sample) (peak float64, n int, at time.Duration) {
	peak = math.Inf(-1)
	for i := range s {
		j := i + 1
		for j < len(s) && (s[j].at < s[i].at+smooth || j < i+3) {
			j++
		}
		if j-i < 3 {
			break
		}
		if m := mean(s[i:j]); m > peak {
			peak, n, at = m, j-i, s[i].at+(s[j-1].at-s[i].at)/2
		}
	}
	return peak, n, at
}

// lateOf gives the seconds from the opening to the first reading at a level.
func (w *Walk) lateOf(s []sample, level float64) *float64 {
	for _, p := range s {
		if p.v >= level {
			late := math.Round((p.at - w.openAt).Seconds())
			return &late
		}
	}
	return nil
}
