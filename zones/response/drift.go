package response

import (
	"fmt"
	"math"

	"rillgate/zones/substrate"
)

// Edges of a drift; all chosen here.
const (
	driftOver  = 0.5  // share of the edge under which it has ended
	driftSure  = 5.0  // and so many times its own uncertainty
	driftFloor = 0.03 // points/h that a probe's steps and noise make
	driftPast  = 4    // undisturbed stretches to learn from before any is judged
)

// seekDrift sums how each probe went away from its zone while nothing was watered, less
// what it always does.
func (m *Model) seekDrift(b *bed) {
	if len(b.tracks) < 3 {
		return
	}
	for i, t := range b.tracks {
		gone := 0.0
		for _, w := range driftWindows() {
			d := drift(b.day, i, m.now-w.span).and(drift(b.night, i, m.now-w.span))
			gone = math.Max(gone, math.Abs(d.points)/w.least)
			if math.Abs(d.points) < math.Max(w.least, driftSure*d.sigma) {
				continue
			}
			way := "fell"
			if d.points < 0 {
				way = "rose"
			}
			m.raise(b, Finding{Code: ProbeDrifts, Probe: t.probe, Since: age(d.from), Because: fmt.Sprintf(
				"in %.1f h without water of the last %d h probe %s of %s %s by %.1f points against its neighbours, beyond what it used to",
				d.hours, w.span/hour, t.probe, b.zone.title(), way, math.Abs(d.points))})
			break
		}
		if gone < driftOver {
			m.clear(b, ProbeDrifts, t.probe)
		}
	}
}

// driftWindow is a time in which a probe that goes away by so many points drifts.
type driftWindow struct {
	span  int64
	least float64
}

// driftWindows: a quick drift soon, a slow one late. Plants that are watered in another
// way than before part by some tenths of a point an hour for a day or two.
func driftWindows() [2]driftWindow { return [2]driftWindow{{4 * hour, 1.5}, {24 * hour, 4}} }

// away is how far a probe went from its zone.
type away struct {
	points, hours, sigma float64
	from                 int64
}

func (a away) and(b away) away {
	from := min(a.from, b.from)
	if a.hours == 0 || b.hours == 0 {
		from = max(a.from, b.from)
	}
	return away{a.points + b.points, a.hours + b.hours, math.Hypot(a.sigma, b.sigma), from}
}

// drift gives the points that probe i fell more than its zone since an age, less its
// habit from before (from all of it while there is little before), and how sure that
// is by the scatter of the single stretches.
func drift(blocks []block, i int, from int64) (a away) {
	var before, all []float64
	for k := range blocks {
		if d := blocks[k].apart(i); d != unknown {
			all = append(all, d.float())
			if blocks[k].To < from {
				before = append(before, d.float())
			}
		}
	}
	if len(before) < driftPast {
		before = all
	}
	habit, err := substrate.Judge(before, driftFloor)
	if err != nil || len(before) < driftPast {
		return away{}
	}
	n := 0.0
	for k := range blocks {
		d := blocks[k].apart(i)
		if d == unknown || blocks[k].To < from {
			continue
		}
		if n == 0 {
			a.from = blocks[k].From
		}
		n++
		a.points += (d.float() - habit.Median) * blocks[k].hours()
		a.hours += blocks[k].hours()
	}
	if n > 0 {
		a.sigma = habit.Scale * a.hours * math.Sqrt(1/n+1.57/float64(len(before)))
	}
	return a
}

// apart gives how much faster probe i fell than its zone.
func (b *block) apart(i int) milli {
	if i >= len(b.Falls) || len(known(b.Falls)) < 3 {
		return unknown
	}
	return minus(b.Falls[i], middleOf(b.Falls))
}
