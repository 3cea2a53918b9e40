package simroom

import (
	"math"
	"time"

	"rillgate/zones"
)

// supply is water that zones share.
type supply struct {
	plan   *zones.Supply
	master *output // nil = none
	dry    int     // faults that leave it without water
	low    int     // faults that make its low input active
}

// feed is a valve as the zone sees it: an output, and the water behind it.
type feed struct {
	id     string
	out    *output
	supply *supply // nil when the plan does not say
	from   *feed   // another feed whose water comes here too; nil = none
	share  float64 // so much of it
}

// passes reports whether water comes through.
func (f *feed) passes() bool {
	if !f.out.flows() {
		return false
	}
	if f.supply == nil {
		return true
	}
	return f.supply.dry == 0 && (f.supply.master == nil || f.supply.master.flows())
}

// strength gives what a feed brings now, against a mean open valve.
func (f *feed) strength() float64 {
	x := 0.0
	if f.passes() {
		x = 1
	}
	if f.from != nil && f.from.passes() {
		x += f.share
	}
	return x
}

// zone is a bed: one bucket a probe, then one a valve for the plants without one.
type zone struct {
	plan    *zones.Zone
	o       ZoneOptions
	soil    soil
	feeds   []feed
	buckets []bucket
	spots   int     // buckets with a probe
	plant   float64 // L/s a plant through an open valve, mean emitters
	plants  float64
	leak    float64 // L/s into the whole zone
	passes  float64 // what a blockage of the whole zone lets through
	air     float64 // °C at the roots
	settled time.Duration
}

func (r *Room) makeSupplies() {
	for i := range r.plan.Supplies {
		s := &supply{plan: &r.plan.Supplies[i]}
		if m := s.plan.Master; m != nil {
			s.master = r.output(m.Output)
		}
		r.supplies = append(r.supplies, s)
	}
}

func (r *Room) supply(id string) *supply {
	for _, s := range r.supplies {
		if s.plan.ID == id {
			return s
		}
	}
	return nil
}

// makeZones fills the beds. What the plan does not know is assumed: 4 L of substrate,
// two emitters of 2 L/h, one plant.
func (r *Room) makeZones() {
	for i := range r.plan.Zones {
		p := &r.plan.Zones[i]
		volume, flow := p.VolumeML/1000, p.PlantLPH()
		if !(volume > 0) {
			volume = 4
		}
		if !(flow > 0) {
			flow = 4
		}
		z := &zone{plan: p, plant: flow / 3600, plants: math.Max(1, float64(p.Plants)), passes: 1}
		z.o = r.o.zone(p, volume)
		z.soil = makeSoil(&z.o, volume)
		r.makeFeeds(z)
		r.makeBuckets(z)
		r.zones = append(r.zones, z)
	}
}

// makeSoil turns percents into litres. Uptake at the stress level stays at least 3/10
// of nominal, however strong the response is.
func makeSoil(o *ZoneOptions, volume float64) soil {
	if d := o.StartPercent - o.StressPercent; d > 0 {
		o.Response = math.Min(o.Response, 0.7/d)
	}
	return soil{
		volume: volume, dry: o.DryPercent / 100 * volume, stress: o.StressPercent / 100 * volume,
		field: o.FieldPercent / 100 * volume, full: o.SatPercent / 100 * volume,
		drainTime: o.DrainTime.Seconds(),
		response:  o.Response * 100 / volume, level: o.StartPercent / 100 * volume,
	}
}

func (r *Room) makeFeeds(z *zone) {
	for _, id := range z.plan.Valves {
		for i := range r.plan.Valves {
			v := &r.plan.Valves[i]
			if v.ID == id {
				z.feeds = append(z.feeds, feed{id: id, out: r.output(v.Output), supply: r.supply(v.Supply)})
			}
		}
	}
}

// makeBuckets shares the plants out: every probe has one of its own (less where there
// are more probes than plants), the rest stands in one bucket a valve.
func (r *Room) makeBuckets(z *zone) {
	for i := range r.plan.Probes {
		if r.plan.Probes[i].Zone == z.plan.ID {
			z.spots++
		}
	}
	n := max(1, len(z.feeds))
	count := make([]int, n)
	for i := 0; i < z.spots; i++ {
		count[i%n]++
	}
	share := z.plants / float64(n)
	weight := 1.0
	for _, c := range count {
		if c > 0 {
			weight = math.Min(weight, share/float64(c))
		}
	}
	rnd := newStream(r.o.Seed, "emitters "+z.plan.ID)
	for i := 0; i < z.spots+n; i++ {
		b := bucket{factor: 1, passes: 1, weight: weight, valve: i % n}
		if i < z.spots {
			b.factor = math.Max(0.2, 1+r.o.EmitterCV*rnd.normal())
		} else {
			b.valve = i - z.spots
			b.weight = share - weight*float64(count[b.valve])
		}
		b.water = z.o.StartPercent / 100 * z.soil.volume
		b.start, b.seen = b.water, b.water/z.soil.volume
		z.buckets = append(z.buckets, b)
	}
}

// settleZone brings a zone's water up to now. Nothing may have changed since.
func (r *Room) settleZone(z *zone) {
	dt := (r.now - z.settled).Seconds()
	if dt <= 0 {
		return
	}
	z.settled = r.now
	f := flows{leak: z.leak / z.plants, evap: z.o.EvaporationLPH / 3600, uptake: z.o.UptakeNightLPH / 3600}
	if r.lit {
		f.uptake = z.o.UptakeDayLPH / 3600
	}
	lag := r.o.ProbeLag.Seconds()
	for i := range z.buckets {
		b := &z.buckets[i]
		f.in = 0
		if i >= z.spots {
			lag = 0 // no probe looks
		}
		if b.valve < len(z.feeds) {
			f.in = z.feeds[b.valve].strength() * z.plant * b.factor * b.passes * z.passes
		}
		if b.weight > 0 {
			z.soil.flow(b, f, dt, lag)
		}
	}
	z.air = follow(z.air, z.airTarget(r.lit), z.airTarget(r.lit), dt, airLag)
}

// Root temperature follows the lights, °C and s.
const (
	airNight, airDay = 19.5, 23.5
	airLag           = 5400.0
)

func (z *zone) airTarget(lit bool) float64 {
	if lit {
		return airDay
	}
	return airNight
}

// flowLPM gives what goes through a feed's own valve now, L/min.
func (z *zone) flowLPM(i int) float64 {
	if !z.feeds[i].passes() {
		return 0
	}
	return z.drawLPM(i)
}

// drawLPM gives what the emitters of a feed draw while it is fed, L/min.
func (z *zone) drawLPM(i int) float64 {
	var sum float64
	for j := range z.buckets {
		if b := &z.buckets[j]; b.valve == i {
			sum += b.weight * b.factor * b.passes
		}
	}
	return sum * z.plant * z.passes * 60
}
