package walk

import (
	"math"
	"sort"
	"time"

	"rillgate/zones"
)

// sample is one reading: age of the room, and moisture in %.
type sample struct {
	at time.Duration
	v  float64
}

// track is one probe's readings since the walk began.
type track struct {
	zone int // its index in Result.Zones; -1 = none
	all  []sample
	base fit // before the opening that is on
}

// put takes what a look shows. A reading's time is known to a second only: the same one
// may seem up to a second younger in the next look.
func (t *track) put(age time.Duration, v *zones.ProbeView) {
	if v.Moisture == nil || v.AgeSeconds == nil {
		return
	}
	at := age - time.Duration(*v.AgeSeconds)*time.Second
	if n := len(t.all); n > 0 && at < t.all[n-1].at+time.Second {
		return
	}
	t.all = append(t.all, sample{at, *v.Moisture})
}

// between gives the readings of (from, to].
func (t *track) between(from, to time.Duration) []sample {
	i := sort.Search(len(t.all), func(i int) bool { return t.all[i].at > from })
	j := sort.Search(len(t.all), func(i int) bool { return t.all[i].at > to })
	return t.all[i:max(i, j)]
}

// fit is a straight line through readings.
type fit struct {
	n        int
	mid      float64 // min, of the readings' times
	mean     float64 // %
	slope    float64 // points/min
	sxx, sse float64
}

// line fits a straight line by least squares.
func line(s []sample) (f fit) {
	f.n = len(s)
	if f.n == 0 {
		return f
	}
	for _, p := range s {
		f.mid += p.at.Minutes()
		f.mean += p.v
	}
	f.mid, f.mean = f.mid/float64(f.n), f.mean/float64(f.n)
	sxy := 0.0
	for _, p := range s {
		dx := p.at.Minutes() - f.mid
		f.sxx += dx * dx
		sxy += dx * (p.v - f.mean)
	}
	if f.sxx > 0 {
		f.slope = sxy / f.sxx
	}
	for _, p := range s {
		e := p.v - f.mean - f.slope*(p.at.Minutes()-f.mid)
		f.sse += e * e
	}
	return f
}

// trend is the common slope of some lines, points/min, and its standard error.
type trend struct{ slope, se float64 }

// steep reports whether it surely is more than limit, points/min.
func (t trend) steep(limit float64) bool { return t.slope-sure*t.se > limit }

// trendOf pools lines by their weight; sd is the standard deviation of a reading.
func trendOf(lines []fit, sd float64) trend {
	sxx, sum := 0.0, 0.0
	for _, f := range lines {
		if f.n >= 3 {
			sxx += f.sxx
			sum += f.sxx * f.slope
		}
	}
	if sxx == 0 {
		return trend{0, math.Inf(1)}
	}
	return trend{sum / sxx, sd / math.Sqrt(sxx)}
}

// leastNoise is the standard deviation of a reading that is assumed at least, points:
// a reading has steps of a tenth.
const leastNoise = 0.08

// noiseOf gives the standard deviation of one reading, pooled over lines.
func noiseOf(lines []fit) float64 {
	sse, dof := 0.0, 0
	for _, f := range lines {
		if f.n >= 4 {
			sse += f.sse
			dof += f.n - 2
		}
	}
	if dof < 3 {
		return 3 * leastNoise
	}
	return max(math.Sqrt(sse/float64(dof)), leastNoise)
}

// mean gives the mean of some readings.
func mean(s []sample) float64 {
	sum := 0.0
	for _, p := range s {
		sum += p.v
	}
	return sum / float64(max(len(s), 1))
}
