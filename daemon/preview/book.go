package preview

import (
	"time"

	"rillgate/zones"
	"rillgate/zones/simroom"
)

// book gathers what one zone does.
type book struct {
	bed     *bed
	probes  int
	points  []Point
	shots   []Shot
	open    *Shot
	refused map[zones.Reason]int // before what is shown
	view    zones.ZoneView       // the last one
	levels  map[string]Levels    // by window, those last in force
	windows []string             // in the order in which they opened
	before  simroom.Truth        // at the beginning of what is shown
	truth   simroom.Truth

	low, high, top, dryBack float64
	some                    bool
}

func (b *book) opened(at time.Time, e *zones.Entry) {
	b.open = &Shot{Start: at, Window: e.Window, Opened: e.Reason}
	b.top = 0
}

func (b *book) closed(at time.Time, e *zones.Entry, shown bool) {
	s := b.open
	b.open = nil
	if s == nil || !shown || e.Seconds <= 0 {
		return
	}
	s.End, s.Closed, s.Seconds, s.Litres = at, e.Reason, e.Seconds, e.Litres
	b.shots = append(b.shots, *s)
}

// ahead keeps what stood when that began which is counted.
func (b *book) ahead(z *zones.ZoneView, truth *simroom.Truth) {
	b.before = *truth
	for r, n := range z.Refusals {
		b.refused[r] = n
	}
}

// look takes a minute's moisture: the core's own estimate; where a zone has no probes,
// what is so.
func (b *book) look(at time.Time, z *zones.ZoneView, truth *simroom.Truth) {
	b.view, b.truth = *z, *truth
	p := Point{At: at}
	switch {
	case z.Moisture != nil:
		p.Percent, p.Known = *z.Moisture, true
	case b.probes == 0:
		p.Percent, p.Known = truth.Moisture, true
	}
	b.points = append(b.points, p)
	if p.Known {
		b.moisture(p.Percent, z.State == zones.Watering)
	}
	if z.Below == nil && z.StopAt == nil {
		return
	}
	if _, seen := b.levels[z.Window]; !seen {
		b.windows = append(b.windows, z.Window)
	}
	b.levels[z.Window] = Levels{Window: z.Window, Below: z.Below, StopAt: z.StopAt}
}

// moisture counts a dry-back from the highest level since the last shot.
func (b *book) moisture(m float64, watering bool) {
	if !b.some {
		b.some, b.low, b.high = true, m, m
	}
	b.low, b.high = min(b.low, m), max(b.high, m)
	if watering {
		b.top = 0
		return
	}
	b.top = max(b.top, m)
	b.dryBack = max(b.dryBack, b.top-m)
}

// refusals gives how often each reason refused within what is shown.
func (b *book) refusals() map[zones.Reason]int {
	out := map[zones.Reason]int{}
	for r, n := range b.view.Refusals {
		if n -= b.refused[r]; n > 0 {
			out[r] = n
		}
	}
	return out
}
