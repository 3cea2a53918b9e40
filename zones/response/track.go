package response

import (
	"slices"
	"sort"
)

// milli is a moisture in thousandths of a percent; unknown where there is none.
type milli int32

const unknown = milli(-1 << 31)

func (m milli) float() float64 { return float64(m) / 1000 }

const (
	minute = int64(60)
	hour   = 60 * minute

	trackSpan = 4*hour + 10*minute // what a track keeps
)

// dot is a moisture at an age in seconds.
type dot struct {
	at    int64
	level milli
}

// track is what one probe said lately: one dot a minute, the last of it.
type track struct {
	probe string
	dots  []dot // in order of age

	fives []dot // medians of five minutes each, of the last hour, oldest first
	low   dot   // the lowest of them while no water came; at = 0: none
	slip  slip
	jump  int64 // age of its last sudden step
}

// put adds a dot. Those that do not advance are left out.
func (t *track) put(d dot) {
	n := len(t.dots)
	if n > 0 && d.at <= t.dots[n-1].at {
		return
	}
	if n > 0 && d.at/minute == t.dots[n-1].at/minute {
		t.dots[n-1] = d
		return
	}
	if n > 0 && n == cap(t.dots) {
		t.dots = append(t.dots[:0], t.between(d.at-trackSpan, d.at)...)
	}
	t.dots = append(t.dots, d)
}

// between gives the dots with from <= at < to.
func (t *track) between(from, to int64) []dot {
	i := sort.Search(len(t.dots), func(i int) bool { return t.dots[i].at >= from })
	j := i + sort.Search(len(t.dots)-i, func(k int) bool { return t.dots[i+k].at >= to })
	return t.dots[i:j]
}

// level gives the mean of the middle three fifths of the dots with from <= at < to,
// unknown with none. A median would stand on the steps of the probe.
func (t *track) level(from, to int64) milli {
	d := t.between(from, to)
	if len(d) == 0 {
		return unknown
	}
	var buf [64]milli
	v := buf[:0]
	for _, x := range d {
		v = append(v, x.level)
	}
	slices.Sort(v)
	cut := len(v) / 5
	v = v[cut : len(v)-cut]
	sum := 0
	for _, x := range v {
		sum += int(x)
	}
	return milli(sum / len(v))
}

// middle gives the median of at least one level. It sorts v.
func middle(v []milli) milli {
	slices.Sort(v)
	n := len(v)
	if n%2 == 1 {
		return v[n/2]
	}
	return (v[n/2-1] + v[n/2]) / 2
}

// known gives the levels that are known, in a slice of its own.
func known(v []milli) []milli {
	out := make([]milli, 0, len(v))
	for _, x := range v {
		if x != unknown {
			out = append(out, x)
		}
	}
	return out
}

// middleOf gives the median of the known levels, unknown when there is none.
func middleOf(v []milli) milli {
	k := known(v)
	if len(k) == 0 {
		return unknown
	}
	return middle(k)
}

// minus gives a - b, unknown where either is.
func minus(a, b milli) milli {
	if a == unknown || b == unknown {
		return unknown
	}
	return a - b
}
