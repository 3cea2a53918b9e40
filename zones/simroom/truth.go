package simroom

import (
	"time"

	"rillgate/zones"
)

// Truth is what is so in a zone, whatever the probes say. Litres are of the whole
// zone since the room began.
type Truth struct {
	Zone       string
	Moisture   float64 // %, mean over all plants
	Driest     float64 // %, of the plants with a probe
	Wettest    float64
	Water      float64 // L in the substrate now
	Start      float64 // L at the beginning
	Applied    float64 // L through the emitters
	Leaked     float64 // L by a leak into the bed
	Taken      float64 // L by the plants
	Evaporated float64
	Drained    float64
	Spots      []Spot // in the plan's order of probes
}

// Spot is what is so at one probe.
type Spot struct {
	Probe    string
	Moisture float64 // %, of the bucket it sits in
	Seen     float64 // %, after the lag; offset, noise and steps come on top
	Emitter  float64 // flow against the mean
}

// Imbalance gives what is unaccounted for, L: 0 but for rounding.
func (t *Truth) Imbalance() float64 {
	return t.Applied + t.Leaked - t.Taken - t.Evaporated - t.Drained - (t.Water - t.Start)
}

// Truth tells what is so in a zone now; ok is false for a zone the plan has not.
func (r *Room) Truth(id string) (t Truth, ok bool) {
	for _, z := range r.zones {
		if z.plan.ID == id {
			r.settleZone(z)
			return r.truth(z), true
		}
	}
	return Truth{}, false
}

func (r *Room) truth(z *zone) Truth {
	t := Truth{Zone: z.plan.ID, Driest: 100}
	for i := range z.buckets {
		b := &z.buckets[i]
		t.Water += b.weight * b.water
		t.Start += b.weight * b.start
		t.Applied += b.weight * b.applied
		t.Leaked += b.weight * b.leaked
		t.Taken += b.weight * b.taken
		t.Evaporated += b.weight * b.evaporated
		t.Drained += b.weight * b.drained
		if m := 100 * b.water / z.soil.volume; i < z.spots || z.spots == 0 {
			t.Driest, t.Wettest = min(t.Driest, m), max(t.Wettest, m)
		}
	}
	t.Moisture = 100 * t.Water / (z.soil.volume * z.plants)
	for _, p := range r.probes {
		if p.home == z && p.plan.Zone == z.plan.ID {
			b := &z.buckets[p.bucket]
			t.Spots = append(t.Spots, Spot{
				Probe: p.plan.ID, Moisture: 100 * b.water / z.soil.volume,
				Seen: 100 * b.seen, Emitter: b.factor,
			})
		}
	}
	return t
}

// Interval is a time for which something stood open. To is Never while it does.
type Interval struct{ From, To time.Duration }

// Driven gives the times for which an output held current, in order.
func (r *Room) Driven(o zones.Output) []Interval {
	if out := r.output(o); out != nil {
		return out.driven
	}
	return nil
}

// Opened gives the times for which the valve on an output let water through, whatever
// its output did; what its supply had to give is not asked.
func (r *Room) Opened(o zones.Output) []Interval {
	if out := r.output(o); out != nil {
		return out.opened
	}
	return nil
}

// OpenTime sums the intervals between two instants.
func OpenTime(in []Interval, from, to time.Duration) time.Duration {
	var sum time.Duration
	for _, i := range in {
		sum += max(0, min(i.To, to)-max(i.From, from))
	}
	return sum
}
