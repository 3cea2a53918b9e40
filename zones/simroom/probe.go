package simroom

import (
	"math"
	"sort"
	"time"

	"rillgate/zones"
)

// terminal is a line of probes that its controller polls together.
type terminal struct {
	number int
	rnd    stream
	base   time.Duration // the next poll, but for the jitter
	next   time.Duration
	probes []*probe
}

// probe is one probe: where it sits, and what is wrong with it.
type probe struct {
	plan   *zones.Probe
	home   *zone
	bucket int
	offset float64 // points
	rnd    stream

	lost      int
	airs      []float64 // % shown by each air fault that stands
	stuck     int
	stuckAt   past
	replay    int
	restamp   bool // the replay carries times of now
	replayAt  int  // next entry of old
	old       []past
	other     *probe  // reads this one's bucket instead
	drift     float64 // points that it shows more with every hour since driftFrom
	driftFrom time.Duration
	past      ring
}

// past is a reading that was sent.
type past struct {
	at       time.Duration // its stamp
	level    zones.Level
	ec, temp float64
}

// ring keeps the last readings of a probe.
type ring struct {
	at []past
	n  int // how many were ever put in
}

const ringSize = 128

func (g *ring) put(p past) {
	if len(g.at) < ringSize {
		g.at = append(g.at, p)
	} else {
		g.at[g.n%ringSize] = p
	}
	g.n++
}

// last gives up to n of the newest entries, oldest first.
func (g *ring) last(n int) []past {
	n = min(n, len(g.at))
	out := make([]past, n)
	for i := range out {
		out[i] = g.at[(g.n-n+i)%ringSize]
	}
	return out
}

// makeTerminals puts the probes into their buckets, in the plan's order, and on their
// lines. A probe given to no zone stands in a plant of the first zone.
func (r *Room) makeTerminals() {
	used := map[*zone]int{}
	for i := range r.plan.Probes {
		p := &probe{plan: &r.plan.Probes[i]}
		p.rnd = newStream(r.o.Seed, "probe "+p.plan.Place.String())
		p.offset = r.o.ProbeSpread * p.rnd.normal()
		if !r.home(p, used) {
			continue
		}
		r.probes = append(r.probes, p)
		if c := r.controller(p.plan.Place.Controller); c != nil {
			l := r.line(c, p.plan.Place.Terminal)
			l.probes = append(l.probes, p)
		}
	}
	for _, c := range r.controllers {
		sort.Slice(c.lines, func(i, j int) bool { return c.lines[i].number < c.lines[j].number })
	}
}

func (r *Room) home(p *probe, used map[*zone]int) bool {
	for _, z := range r.zones {
		if z.plan.ID == p.plan.Zone {
			p.home, p.bucket = z, used[z]
			used[z]++
			return true
		}
	}
	if len(r.zones) == 0 {
		return false
	}
	p.home = r.zones[0]
	p.bucket = len(p.home.buckets) - 1
	return true
}

func (r *Room) line(c *controller, number int) *terminal {
	for _, l := range c.lines {
		if l.number == number {
			return l
		}
	}
	l := &terminal{number: number, rnd: newStream(r.o.Seed, "terminal "+zones.Place{Controller: c.id, Terminal: number}.String())}
	l.base = time.Duration(l.rnd.unit() * float64(r.o.ReadingPeriod)).Truncate(time.Millisecond)
	l.next = l.base
	c.lines = append(c.lines, l)
	return l
}

// poll reads every probe of a line and sends what they say.
func (r *Room) poll(c *controller, l *terminal) {
	l.base += r.o.ReadingPeriod
	l.next = l.base + time.Duration(l.rnd.unit()*float64(r.o.Jitter)).Truncate(time.Millisecond)
	for _, p := range l.probes {
		now := r.measure(p)
		if p.lost > 0 || !c.onAir() {
			continue
		}
		now, fresh := p.says(now)
		if fresh {
			p.past.put(now)
		}
		r.sendReading(c, p, now)
	}
}

// says gives what the probe sends where `now` is what it measures, and whether that
// is a new reading.
func (p *probe) says(now past) (past, bool) {
	if p.stuck > 0 {
		p.stuckAt.at = now.at
		return p.stuckAt, true
	}
	if p.replay > 0 && len(p.old) > 0 {
		x := p.old[p.replayAt%len(p.old)]
		p.replayAt++
		if p.restamp {
			x.at = now.at
		}
		return x, false
	}
	return now, true
}

func (r *Room) sendReading(c *controller, p *probe, x past) {
	m := r.made.reading()
	*m = zones.Reading{
		Place: p.plan.Place, Moisture: x.level, HasMoisture: true,
		Permittivity: math.NaN(), EC: x.ec, Temperature: x.temp,
	}
	if !r.o.NoStamps {
		m.At, m.HasTime = x.at, true
	}
	if r.o.Serials {
		m.Serial = "sim-" + p.plan.ID
	}
	r.send(c, m)
}

// measure reads the bucket that the probe sits in. Noise is drawn every time, so that
// a fault shifts nothing that comes after it.
func (r *Room) measure(p *probe) past {
	at := p
	if p.other != nil {
		at = p.other
	}
	r.settleZone(at.home)
	noise := r.o.ProbeNoise * p.rnd.normal()
	theta := at.home.buckets[at.bucket].seen
	percent := 100*theta + p.offset + noise + p.drift*(r.now-p.driftFrom).Hours()
	if n := len(p.airs); n > 0 {
		percent = p.airs[n-1] + noise
		theta = 0
	}
	return past{
		at:    time.Duration(r.o.Start.Add(r.now).UnixNano()),
		level: r.quantised(percent),
		ec:    math.Round(bulkEC(theta)*100) / 100,
		temp:  math.Round((at.home.air+0.05*noise)*10) / 10,
	}
}

func (r *Room) quantised(percent float64) zones.Level {
	percent = min(max(percent, 0), 100)
	if r.o.ProbeStep > 0 {
		percent = math.Round(percent/r.o.ProbeStep) * r.o.ProbeStep
	}
	return zones.Level(math.Round(percent * 1000))
}

// bulkEC gives the bulk EC at a water content, mS/cm, for pore water of poreEC: the
// form of Rhoades, Raats and Prather 1976 (SSSAJ 40:651-655) with E 1, F 0.5 and no
// surface conduction; the numbers are illustrative.
func bulkEC(theta float64) float64 { return poreEC * (theta*theta + 0.5*theta) }

const poreEC = 2.4
