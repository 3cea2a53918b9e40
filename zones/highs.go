package zones

import "time"

const highsAfter = 15 * time.Minute

// clearHighs forgets the probes' highs, as after a shot.
func (r *Room) clearHighs(z *zone) {
	for _, p := range z.probes {
		p.high, p.hasHigh = 0, false
	}
	z.mem.Highs = nil
	z.changed = true
}

// noteHigh keeps a probe's highest since the last shot, less the first 15 min.
func (r *Room) noteHigh(p *probe) {
	z := p.zone
	if z.run != nil || (z.ran() && r.t < z.rested()+highsAfter) || !p.counts(r.t) {
		return
	}
	if !p.hasHigh || p.value > p.high {
		p.high, p.hasHigh = p.value, true
		z.changed = true
	}
}

// progress gathers what is remembered of the zone.
func (z *zone) progress() ZoneProgress {
	highs := map[string]Level{}
	for _, p := range z.probes {
		if p.hasHigh {
			highs[p.place.String()] = p.high
		}
	}
	if len(highs) == 0 {
		highs = nil
	}
	m := z.mem
	return ZoneProgress{Zone: z.id, Progress: m.Progress, Highs: highs, Response: m.Response, Lost: m.Lost, DayHigh: m.DayHigh, DayOf: m.DayOf, Level: m.Level, LevelAt: m.LevelAt, LevelHalf: m.LevelHalf}
}
