package zones

import (
	"math"
	"time"
)

// Band is the range in which a zone's number should stay, and how long it may be
// outside before an alarm. A nil end is open.
type Band struct {
	Below, Above *float64
	For          time.Duration
}

// out reports whether x lies outside, and on which side in words.
func (b *Band) out(x float64) (word string, limit float64, out bool) {
	switch {
	case b.Below != nil && x < *b.Below:
		return "under", *b.Below, true
	case b.Above != nil && x > *b.Above:
		return "over", *b.Above, true
	}
	return "", 0, false
}

// bandState is what is known of a number that a band watches. A number that cannot be
// told for a while changes nothing.
type bandState struct {
	known    bool
	last     float64
	outSince time.Duration // forever = within
}

// note takes a number in at age t, and reports whether it left the band or came back.
func (s *bandState) note(b *Band, x float64, t time.Duration) (crossed bool) {
	if !s.known {
		s.known, s.outSince = true, forever
	}
	s.last = x
	was := s.outSince != forever
	_, _, out := b.out(x)
	switch {
	case !out:
		s.outSince = forever
	case !was:
		s.outSince = t
	}
	return out != was
}

// noteBands takes in what the zone's bands watch, at each of its readings. It reports
// whether a number left its band or came back.
func (z *zone) noteBands(t time.Duration) (crossed bool) {
	if z.cfg.PoreEC == nil && z.cfg.RootTemperature == nil {
		return false
	}
	pore, celsius := z.rootNumbers(&z.est, t)
	if z.cfg.PoreEC != nil && len(pore) > 0 {
		crossed = z.poreBand.note(z.cfg.PoreEC, middle(pore), t)
	}
	if z.cfg.RootTemperature != nil && len(celsius) > 0 {
		crossed = z.warmBand.note(z.cfg.RootTemperature, middle(celsius), t) || crossed
	}
	return crossed
}

// rootNumbers gives what the probes that count in an estimate tell at age t: the pore water's EC, mS/cm,
// and the temperature, °C.
func (z *zone) rootNumbers(e *estimate, t time.Duration) (pore, celsius []float64) {
	n := len(z.probes)
	both := make([]float64, 2*n)
	pore, celsius = both[:0:n], both[n:n]
	for i, p := range z.probes {
		if !e.counting(i, p, t) {
			continue
		}
		if !math.IsNaN(p.temperature) {
			celsius = append(celsius, p.temperature)
		}
		if ec := p.reckoned().pore; ec != nil {
			pore = append(pore, *ec)
		}
	}
	return pore, celsius
}

// bandAlarm keeps the alarm of a band.
func (r *Room) bandAlarm(a about, z *zone, code Reason, b *Band, s *bandState, what, unit string) {
	on := false
	if b != nil && s.known && s.outSince != forever {
		if due := s.outSince + b.For; r.t >= due {
			_, _, on = b.out(s.last)
		} else {
			r.at(due)
		}
	}
	a.when(on, code, func() string {
		word, limit, _ := b.out(s.last)
		return sprintf("%s is %.1f %s, %s %g %s for %s", what, s.last, unit, word, limit, unit, words(b.For))
	})
}
