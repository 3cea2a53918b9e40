package simroom

import "math"

// soil is the substrate of one plant, in litres of water.
type soil struct {
	volume          float64 // L of substrate
	dry, stress     float64 // no uptake at dry, full uptake from stress on
	field, full     float64 // drains above field; nothing goes in above full
	drainTime       float64 // s
	response, level float64 // uptake changes by `response` (a share) a litre away from level
}

// flows are what moves the water of one plant, L/s; uptake and evap are nominal.
type flows struct{ in, leak, uptake, evap float64 }

// bucket is the water at one plant, and where it came from and went to since the
// room began, all in litres.
type bucket struct {
	water, start   float64
	seen           float64 // water content as a probe sees it, 0 to 1
	factor, passes float64 // emitter against the mean; what a blockage lets through
	weight         float64 // plants that it stands for
	valve          int     // index of its valve in the zone
	applied        float64 // through its emitters
	leaked         float64 // in by a leak
	taken          float64 // by the plant
	evaporated     float64
	drained        float64
}

// line is a rate that depends on the water: x + y W, L/s.
type line struct{ x, y float64 }

// law holds while the water stays between low and high.
type law struct {
	loss      line // uptake and evaporation together, as a share of nominal
	drain     line
	low, high float64
}

// share gives what of the nominal uptake and evaporation is lost at w. From stress on
// it follows the moisture gently; under it, it falls to nothing at dry (the form of
// the stress coefficient of FAO-56, Allen et al. 1998, equation 84; from memory).
func (s *soil) share(dry bool) line {
	l := line{1 - s.response*s.level, s.response}
	if !dry {
		return l
	}
	k := (l.x + l.y*s.stress) / (s.stress - s.dry)
	return line{-k * s.dry, k}
}

// net gives dW/dt at w. It is continuous but at full, where nothing more goes in.
func (s *soil) net(w float64, f flows) float64 {
	l := s.share(w < s.stress)
	return f.in + f.leak - (f.uptake+f.evap)*(l.x+l.y*w) - max(0, w-s.field)/s.drainTime
}

// lawAt gives the law that holds from w on: at an edge, the one of the side that the
// water moves to.
func (s *soil) lawAt(w float64, f flows) law {
	net := s.net(w, f)
	rises := net > 0
	switch {
	case w < s.stress || w == s.stress && !rises:
		return law{loss: s.share(true), low: math.Inf(-1), high: s.stress}
	case w < s.field || w == s.field && !rises:
		return law{loss: s.share(false), low: s.stress, high: s.field}
	case w < s.full || w == s.full && !rises:
		return law{
			loss: s.share(false), drain: line{-s.field / s.drainTime, 1 / s.drainTime},
			low: s.field, high: s.full,
		}
	}
	// Full: what does not fit runs off at once.
	full := s.share(false)
	run := f.in + f.leak - (f.uptake+f.evap)*(full.x+full.y*w)
	return law{loss: line{full.x + full.y*w, 0}, drain: line{run, 0}, low: s.full, high: math.Inf(1)}
}

// flow lets dt seconds pass in a bucket. lag is the probe's time constant, s.
func (s *soil) flow(b *bucket, f flows, dt, lag float64) {
	for dt > 0 {
		l := s.lawAt(b.water, f)
		nominal := f.uptake + f.evap
		b0 := nominal*l.loss.y + l.drain.y
		net := f.in + f.leak - nominal*l.loss.x - l.drain.x - b0*b.water
		h, edge := crossing(b.water, net, b0, l)
		s.move(b, f, l, net, b0, min(h, dt), lag)
		if h <= dt {
			b.water = edge
		}
		dt -= h
	}
}

// crossing gives the seconds until the water reaches an edge of the law, and that
// edge; infinity if it never does. Never 0, so that time always passes: at an edge
// the law is the one that leads away from it, but for rounding at a standstill.
func crossing(w, net, rate float64, l law) (h, edge float64) {
	edge = l.high
	if net < 0 {
		edge = l.low
	}
	if net == 0 || edge == w || math.IsInf(edge, 0) {
		return math.Inf(1), w
	}
	// dW/dt goes from net at w to left at the edge; it must not change its sign.
	left := net - rate*(edge-w)
	if left == 0 || (left > 0) != (net > 0) {
		return math.Inf(1), w
	}
	h = (edge - w) / net
	if z := left/net - 1; rate != 0 && math.Abs(z) > 1e-9 {
		h = -math.Log1p(z) / rate
	}
	if !(h > 0) {
		return math.Inf(1), w
	}
	return h, edge
}

// move advances a bucket by h seconds under one law. net is dW/dt now; it dies away
// at `rate`. Every flow is integrated by itself, so that the balance is a check.
func (s *soil) move(b *bucket, f flows, l law, net, rate, h, lag float64) {
	p1, p2 := phi(rate * h)
	w0 := b.water
	sum := w0*h + net*h*h*p2 // integral of W over h
	lost := l.loss.x*h + l.loss.y*sum
	b.applied += f.in * h
	b.leaked += f.leak * h
	b.taken += f.uptake * lost
	b.evaporated += f.evap * lost
	b.drained += l.drain.x*h + l.drain.y*sum
	b.water = w0 + net*h*p1
	b.seen = follow(b.seen, w0/s.volume, b.water/s.volume, h, lag)
}

// phi gives (1-e^-z)/z and (z-1+e^-z)/z².
func phi(z float64) (p1, p2 float64) {
	if math.Abs(z) < 1e-2 {
		return 1 - z/2*(1-z/3*(1-z/4*(1-z/5*(1-z/6)))), 0.5 - z/6*(1-z/4*(1-z/5*(1-z/6*(1-z/7))))
	}
	e := -math.Expm1(-z)
	return e / z, (z - e) / (z * z)
}

// follow gives where a first-order lag stands after h seconds in which its input goes
// straight from x0 to x1.
func follow(y, x0, x1, h, lag float64) float64 {
	if lag <= 0 || h <= 0 {
		return x1
	}
	slope := (x1 - x0) / h
	return x1 - slope*lag + (y-x0+slope*lag)*math.Exp(-h/lag)
}
