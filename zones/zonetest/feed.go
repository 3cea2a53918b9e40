package zonetest

import (
	"math"
	"time"

	"rillgate/zones"
)

// feeder is one probe that reads a steady level: every so often, drifting by itself
// and rising while its zone's valve is open.
type feeder struct {
	probe zones.Probe
	on    bool
	level float64 // %
	drift float64 // % a minute
	rise  float64 // % a minute of water
	every time.Duration
	next  time.Time
}

// step lets time pass and gives a reading when one is due.
func (f *feeder) step(now time.Time, passed time.Duration, watered bool) *zones.Reading {
	if !f.on {
		return nil
	}
	f.level += f.drift * passed.Minutes()
	if watered {
		f.level += f.rise * passed.Minutes()
	}
	if now.Before(f.next) {
		return nil
	}
	f.next = now.Add(f.every)
	return f.reading()
}

func (f *feeder) reading() *zones.Reading { return readingAt(f.probe.Place, f.level) }

// readingAt is a live reading of moisture alone, in %.
func readingAt(at zones.Place, moisture float64) *zones.Reading {
	return &zones.Reading{
		Place: at, Moisture: zones.Level(math.Round(moisture * 1000)), HasMoisture: true,
		Permittivity: math.NaN(), EC: math.NaN(), Temperature: math.NaN(),
	}
}

// feeders finds the feeders of a zone or of one probe.
func (r *Runner) feeders(name string) []*feeder {
	var found []*feeder
	for i := range r.plan.Probes {
		p := r.plan.Probes[i]
		if p.ID != name && p.Zone != name {
			continue
		}
		f := r.feeds[p.ID]
		if f == nil {
			f = &feeder{probe: p, every: time.Minute}
			r.feeds[p.ID] = f
			r.fed = append(r.fed, f)
		}
		f.probe = p
		found = append(found, f)
	}
	return found
}

// feed sets what probes read from now on: `feed a 28 drift=-0.1 rise=2 every=20s`,
// `feed a1 off`.
func (r *Runner) feed(c Line) error {
	list := r.feeders(c.arg(0))
	if len(list) == 0 {
		return c.fail("no zone or probe %q", c.arg(0))
	}
	for _, f := range list {
		if err := c.options(map[string]any{"drift": &f.drift, "rise": &f.rise, "every": &f.every}); err != nil {
			return err
		}
		switch level := c.arg(1); level {
		case "off":
			f.on = false
			continue
		case "":
		default:
			if err := read(level, &f.level); err != nil {
				return c.fail("%v", err)
			}
		}
		f.on = true
		if r.world != nil {
			f.next = r.world.At().Add(f.every)
			r.world.Send(f.reading())
		}
	}
	return nil
}

// watered reports whether any valve of a probe's zone lets water through.
func (r *Runner) watered(p *zones.Probe) bool {
	for i := range r.plan.Zones {
		if r.plan.Zones[i].ID != p.Zone {
			continue
		}
		for _, v := range r.plan.Zones[i].Valves {
			if r.world.Open(v) {
				return true
			}
		}
	}
	return false
}
