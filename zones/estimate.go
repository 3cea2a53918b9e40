package zones

import (
	"slices"
	"time"
)

const disagreeLimit = 10 * schedulePoint

// estimate is a zone's moisture from its probes at one instant.
type estimate struct {
	known     bool
	value     Level
	assigned  int
	count     int // probes that count, outliers left out
	silent    int // not heard lately, or not enough yet
	bad       int // implausible or outliers
	ignored   int // left out by a person, and not among the assigned
	disagree  bool
	outliers  uint64 // bit n: the zone's n-th probe
	fallKnown bool
	fall      Level
	staleAt   time.Duration // age at which the first counting probe goes stale
	newest    time.Duration // age of the newest counting reading
}

// cause says why there is no estimate.
func (e *estimate) cause(quorum int) Reason {
	if e.bad > 0 && e.count+e.silent < quorum {
		return ProbesImplausible
	}
	return ProbesLost
}

// estimate combines the zone's probes at age t.
func (z *zone) estimate(t time.Duration) estimate {
	e := estimate{assigned: len(z.probes), staleAt: forever}
	var buf [64]int32
	idx := buf[:0]
	var vals [64]Level
	v := vals[:0]
	for i, p := range z.probes {
		if i >= 64 {
			break
		}
		if !p.counts(t) {
			e.miss(p, t)
			continue
		}
		e.staleAt = min(e.staleAt, p.staleAt())
		e.newest = max(e.newest, p.arrived-p.extra)
		idx = append(idx, int32(i))
		v = append(v, p.forLimit(z.maxMoisture()))
	}
	e.count = len(v)
	e.combine(z, idx, v)
	return e
}

// counting reports whether the zone's i-th probe counts in an estimate of age t, outliers
// left out: the one rule for every number that comes from them.
func (e *estimate) counting(i int, p *probe, t time.Duration) bool {
	return p.counts(t) && e.outliers&(1<<uint(i)) == 0
}

// moistures adds those of the counting probes without outliers, %.
func (e *estimate) moistures(z *zone, t time.Duration, vals []float64) []float64 {
	for i, p := range z.probes {
		if e.counting(i, p, t) {
			vals = append(vals, p.value.Float())
		}
	}
	return vals
}

func (e *estimate) miss(p *probe, t time.Duration) {
	switch {
	case t < p.ignoredTo:
		e.assigned--
		e.ignored++
	case p.fresh(t) && (p.excluded || p.outside):
		e.bad++
	default:
		e.silent++
	}
}

func (e *estimate) combine(z *zone, idx []int32, v []Level) {
	how := z.cfg.Moisture.Combine
	switch {
	case len(v) == 2 && gap(v[0], v[1]) > disagreeLimit:
		e.disagree = true
		how = Wettest
	case len(v) >= 3:
		idx, v = e.dropOutliers(how, idx, v)
	}
	e.known = e.count >= z.cfg.Moisture.Quorum && len(v) > 0
	if !e.known {
		return
	}
	e.value = combined(how, v)
	if z.wantsFall() {
		e.combineFalls(z, idx)
	}
}

// dropOutliers leaves out of the quorum, and of the combination unless it is the
// wettest, what is more than 10 points from the median.
func (e *estimate) dropOutliers(how Combine, idx []int32, v []Level) ([]int32, []Level) {
	m := combined(Median, v)
	n := 0
	for k, x := range v {
		if gap(x, m) > disagreeLimit {
			e.disagree = true
			e.outliers |= 1 << uint(idx[k])
			e.count--
			e.bad++
			if how != Wettest {
				continue
			}
		}
		idx[n], v[n] = idx[k], x
		n++
	}
	return idx[:n], v[:n]
}

// combineFalls combines each counting probe's fall from its own high.
func (e *estimate) combineFalls(z *zone, idx []int32) {
	var buf [64]Level
	f := buf[:0]
	for _, i := range idx {
		if p := z.probes[i]; p.hasHigh {
			f = append(f, p.high-p.value)
		}
	}
	if len(f) == 0 {
		return
	}
	how := z.cfg.Moisture.Combine
	switch how { // the driest probe is the one that fell furthest
	case Driest:
		how = Wettest
	case Wettest:
		how = Driest
	}
	e.fall, e.fallKnown = combined(how, f), true
}

func gap(a, b Level) Level {
	if a > b {
		return a - b
	}
	return b - a
}

// combined makes one level of at least one. It may sort v's copy, never v.
func combined(how Combine, v []Level) Level {
	switch how {
	case Driest:
		return slices.Min(v)
	case Wettest:
		return slices.Max(v)
	case Mean:
		return mean(v)
	}
	var buf [64]Level
	s := append(buf[:0], v...)
	for i := 1; i < len(s); i++ {
		for j := i; j > 0 && s[j] < s[j-1]; j-- {
			s[j], s[j-1] = s[j-1], s[j]
		}
	}
	if how == Trimmed {
		if len(s) >= 3 {
			s = s[1 : len(s)-1]
		}
		return mean(s)
	}
	n := len(s)
	if n%2 == 1 {
		return s[n/2]
	}
	return (s[n/2-1] + s[n/2]) / 2
}

func mean(v []Level) Level {
	var sum int64
	for _, x := range v {
		sum += int64(x)
	}
	n := int64(len(v))
	return Level((sum + n/2) / n)
}
