package page

import (
	"math"
	"time"
)

// span of values on the y axis.
type interval struct{ lo, hi float64 }

func (i *interval) include(x float64) {
	i.lo, i.hi = math.Min(i.lo, x), math.Max(i.hi, x)
}

func (i interval) empty() bool { return i.lo > i.hi }

// widen gives an interval of at least the given width around the same middle.
func (i interval) widen(least float64) interval {
	if more := (least - (i.hi - i.lo)) / 2; more > 0 {
		return interval{i.lo - more, i.hi + more}
	}
	return i
}

// steps gives the marks within an interval (not empty): multiples of 1, 2 or 5 times a
// power of ten, at most n+1 of them.
func steps(i interval, n int) (marks []float64) {
	width := i.hi - i.lo
	step := math.Pow(10, math.Floor(math.Log10(width/float64(n))))
	for _, f := range []float64{1, 2, 5, 10} {
		if width/(step*f) <= float64(n) {
			step *= f
			break
		}
	}
	for k := math.Ceil(i.lo / step); k*step <= i.hi; k++ {
		marks = append(marks, k*step)
	}
	return marks
}

// hourMarks gives the instants in [from, to] at which the clock face shows a whole
// hour that `every` divides. It walks in quarters of an hour, so that zones off by 30
// or 45 min and changes of daylight saving come out as the wall shows them.
func hourMarks(from, to time.Time, loc *time.Location, every int) []time.Time {
	var marks []time.Time
	t := from.Truncate(15 * time.Minute)
	for ; !t.After(to); t = t.Add(15 * time.Minute) {
		if l := t.In(loc); !t.Before(from) && l.Minute() == 0 && l.Second() == 0 && l.Hour()%every == 0 {
			marks = append(marks, l)
		}
	}
	return marks
}

// thin reduces points to at most n by the mean of each slice of time; a slice
// without a known point becomes a gap.
func thin(ps []Point, from, to time.Time, n int) []Point {
	if len(ps) <= n || !to.After(from) {
		return ps
	}
	width := to.Sub(from)/time.Duration(n) + 1
	var out []Point
	for i := 0; i < len(ps); {
		slot := ps[i].At.Sub(from) / width
		sum, count, j := 0.0, 0, i
		for ; j < len(ps) && ps[j].At.Sub(from)/width == slot; j++ {
			if ps[j].Known {
				sum += ps[j].Value
				count++
			}
		}
		p := Point{At: ps[(i+j)/2].At, Known: count > 0}
		if count > 0 {
			p.Value = sum / float64(count)
		}
		out = append(out, p)
		i = j
	}
	return out
}

// gapAfter is how far apart two estimates may be for a line between them.
const gapAfter = 15 * time.Minute

// stretches cuts points into runs without a gap.
func stretches(ps []Point) [][]Point { return stretchesOver(ps, gapAfter) }

// stretchesOver does so where points up to `gap` apart belong together.
func stretchesOver(ps []Point, gap time.Duration) [][]Point {
	var out [][]Point
	open := false
	for i, p := range ps {
		if !p.Known || math.IsNaN(p.Value) || math.IsInf(p.Value, 0) {
			open = false
			continue
		}
		if open && p.At.Sub(ps[i-1].At) > gap {
			open = false
		}
		if !open {
			out = append(out, nil)
			open = true
		}
		out[len(out)-1] = append(out[len(out)-1], p)
	}
	return out
}
