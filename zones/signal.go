package zones

import (
	"errors"
	"math"
	"slices"

	"rillgate/zones/substrate"
)

// signal is what a probe's last reading said beside its moisture, and how its zone's
// substrate is read.
type signal struct {
	medium       *Medium // nil = in no zone: a permittivity tells nothing
	offset       Level
	sent         bool    // it has sent a moisture: its permittivity is not asked for one
	permittivity float64 // NaN = not sent
	flags        substrate.Flags
}

func silentSignal() signal { return signal{permittivity: math.NaN()} }

// tooWet and tooDry are the flags of a moisture that is only a bound. What is at least
// so wet counts as at the zone's limit; what is at most so wet opens nothing.
const (
	tooWet = substrate.AboveRange | substrate.OverPores
	tooDry = substrate.BelowRange | substrate.UnderZero | substrate.NearAir
)

// forLimit gives the probe's moisture as it counts for its zone: one that is wetter than
// its curve can tell is at the limit that closes valves, at least.
func (p *probe) forLimit(most Level) Level {
	if p.signal.flags&tooWet != 0 {
		return max(p.value, most)
	}
	return p.value
}

func (s *signal) tooDry() bool { return s.flags&tooDry != 0 }

// read gives the moisture behind a reading: as it was sent, else from its permittivity
// by the curve of the zone's substrate; with the probe's offset. told is false when
// there is none.
func (p *probe) read(rd *Reading) (v Level, told bool) {
	s := &p.signal
	s.permittivity, s.flags = rd.Permittivity, 0
	if rd.HasMoisture {
		s.sent = true
		return min(max(rd.Moisture+s.offset, 0), 100*schedulePoint), true
	}
	if math.IsNaN(rd.Permittivity) || s.medium == nil || s.sent {
		return 0, false
	}
	celsius := rd.Temperature
	if !(celsius >= 0 && celsius <= 50) {
		celsius = math.NaN() // the curve assumes its own
	}
	from := substrate.Signal{Moisture: math.NaN(), Permittivity: rd.Permittivity, Celsius: celsius}
	m, err := from.Read(&s.medium.Curve, s.offset.Float()/100)
	if err != nil {
		return 0, false
	}
	s.flags = m.Flags
	return Level(math.Round(m.Theta * 100 * float64(schedulePoint))), true
}

// words says what a counting probe's moisture leans on; "" where it was sent.
func (s *signal) words() string {
	if s.flags == 0 {
		return ""
	}
	c := &s.medium.Curve
	if s.flags&tooWet != 0 {
		return sprintf("; at least so wet: permittivity %.1f by %s (%s)", s.permittivity, c.Name, s.flags)
	}
	w := sprintf("; from permittivity %.1f by %s", s.permittivity, c.Name)
	if c.Doubt > 0 {
		w += sprintf(", good to %.0f points", 100*c.Doubt)
	}
	if s.flags&substrate.Uncalibrated != 0 {
		w += ", not calibrated in this substrate"
	}
	return w
}

// salts are what a probe tells of salts, and what that was reckoned from.
type salts struct {
	medium                    *Medium
	value                     Level
	ec, celsius, permittivity uint64 // their bits: a number that is missing equals itself
	at25, pore                *float64
	why                       string
}

// salts gives the last reading's bulk EC at 25 °C and its pore water's EC, both in
// mS/cm, and what they lean on or why there is none.
func (p *probe) salts() (at25, pore *float64, why string) {
	s := p.reckoned()
	why = s.why
	if s.pore != nil && math.IsNaN(p.signal.permittivity) {
		why += "; the probe sends no permittivity: reckoned back from its moisture by " + s.medium.Curve.Name
	}
	return s.at25, s.pore, why
}

// reckoned gives what the last reading tells of salts. A room asks at every reading of a
// zone; it is reckoned once.
func (p *probe) reckoned() *salts {
	s, k := &p.salt, salts{medium: p.signal.medium, value: p.value, ec: math.Float64bits(p.ec), celsius: math.Float64bits(p.temperature), permittivity: math.Float64bits(p.signal.permittivity)}
	if s.medium != k.medium || s.value != k.value || s.ec != k.ec || s.celsius != k.celsius || s.permittivity != k.permittivity || s.medium == nil {
		*s = k
		s.at25, s.pore, s.why = p.reckonSalts()
	}
	return s
}

func (p *probe) reckonSalts() (at25, pore *float64, why string) {
	m := p.signal.medium
	if math.IsNaN(p.ec) || m == nil {
		return nil, nil, ""
	}
	ec, celsius := substrate.Conductivity(p.ec), p.temperature
	if math.IsNaN(celsius) {
		if !m.ECAt25 {
			return nil, nil, "the probe sends no temperature"
		}
	} else if !m.ECAt25 {
		var err error
		if ec, err = ec.At25(celsius); err != nil {
			return nil, nil, "its temperature is out of range"
		}
	}
	value := float64(ec)
	k, why, ok := p.dielectric(celsius)
	if !ok {
		return &value, nil, why
	}
	if math.IsNaN(celsius) {
		celsius = 25
	}
	// The bulk's EC stands for 25 °C, so the pore water's does too.
	water, err := substrate.PoreEC(substrate.Bulk{EC: ec, Permittivity: k, Celsius: celsius, Theta: p.value.Float() / 100}, m.PoreOff)
	switch {
	case errors.Is(err, substrate.ErrDry):
		return &value, nil, "too dry to tell the pore water's EC"
	case err != nil:
		return &value, nil, "these numbers give no pore EC"
	}
	w := float64(water)
	return &value, &w, why
}

// dielectric gives the permittivity for the pore EC: as sent, else from the moisture by
// the zone's curve.
func (p *probe) dielectric(celsius float64) (k float64, why string, ok bool) {
	m := p.signal.medium
	const good = "Hilhorst 2000, about 20 % either way"
	if !math.IsNaN(p.signal.permittivity) {
		return p.signal.permittivity, good, true
	}
	if !(celsius >= 0 && celsius <= 50) {
		celsius = math.NaN()
	}
	k, err := m.Curve.Permittivity(p.value.Float()/100, celsius)
	if err != nil {
		return 0, "the probe sends no permittivity, and the curve reaches no such moisture", false
	}
	return k, good, true
}

// middle gives the median of some values, at least one, and sorts them.
func middle(v []float64) float64 {
	slices.Sort(v)
	if n := len(v); n%2 == 0 {
		return (v[n/2-1] + v[n/2]) / 2
	}
	return v[len(v)/2]
}
