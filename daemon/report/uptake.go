package report

import (
	"time"

	"rillgate/schedule"
	"rillgate/zones/response"
)

// What a stretch without water must be to tell an uptake from (chosen here).
const (
	drainsFor    = 30 * time.Minute // after a shot it drains: a fall then is no uptake
	stretchLeast = 30 * time.Minute
	uptakeLeast  = time.Hour // of stretches together
)

// span is a stretch of time.
type span struct{ from, to time.Time }

// uptake fills in how fast moisture fell in the stretches without water, apart for lights
// on and off; where there were not enough of them, what the zone has taught.
func (b *bed) uptake(z *ZoneDay) {
	l := b.in.Learned[b.zone.ID]
	z.UptakeDay, z.UptakeNight = taught(l.UptakeDay, l.UptakeDayML), taught(l.UptakeNight, l.UptakeNightML)
	if len(b.in.Plan.Calendar.Days) == 0 {
		return
	}
	day := between(b.in.Moisture[b.zone.ID], b.day.From, b.day.To)
	var sum, hours [2]float64 // by night, by day
	for _, q := range b.quiet() {
		for _, p := range b.phases(q) {
			slope, length, ok := slopeOf(between(day, p.from, p.to))
			if ok {
				sum[p.lit] += slope * length
				hours[p.lit] += length
			}
		}
	}
	for lit, out := range []**Uptake{&z.UptakeNight, &z.UptakeDay} {
		if h := hours[lit]; h >= uptakeLeast.Hours() {
			u := &Uptake{PointsPerHour: -sum[lit] / h, Hours: h}
			if v := b.zone.VolumeML; v > 0 {
				u.MLPerPlantHour = ptr(u.PointsPerHour / 100 * v)
			}
			*out = u
		}
	}
}

func taught(points, ml response.Number) *Uptake {
	if !points.Known() {
		return nil
	}
	u := &Uptake{PointsPerHour: points.Value, Learned: true}
	if ml.Known() {
		u.MLPerPlantHour = ptr(ml.Value)
	}
	return u
}

// quiet gives the stretches of the day without water and without what drains from it.
func (b *bed) quiet() (out []span) {
	from := b.day.From
	for _, r := range b.runs {
		till := r.Opened
		if till.After(b.end()) {
			break
		}
		if till.After(from) {
			out = append(out, span{from, till})
		}
		calm := r.Opened.Add(drainsFor)
		if r.Closed != nil {
			calm = r.Closed.Add(drainsFor)
		}
		if calm.After(from) {
			from = calm
		}
	}
	if b.end().After(from) {
		out = append(out, span{from, b.end()})
	}
	return out
}

// phase is a span with the lights on (lit 1) or off (0).
type phase struct {
	span
	lit int
}

// phases cuts a span where the lights change, by the schedule.
func (b *bed) phases(s span) (out []phase) {
	cal := &b.in.Plan.Calendar
	for at := s.from; at.Before(s.to); {
		now := schedule.At(cal, &b.zone.Schedule, at)
		p := phase{span{at, now.Until}, 0}
		if off := lightsOff(cal, now.LightsOn); at.Before(off) {
			p.lit = 1
			p.to = earlier(p.to, off)
		}
		p.to = earlier(p.to, s.to)
		if !p.to.After(at) {
			return out // no schedule goes backwards
		}
		if n := len(out); n > 0 && out[n-1].lit == p.lit {
			out[n-1].to = p.to
		} else {
			out = append(out, p)
		}
		at = p.to
	}
	return out
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

// lightsOff gives the end of the light that came on at an instant.
func lightsOff(cal *schedule.Calendar, on time.Time) time.Time {
	y, m, d := on.In(cal.Location).Date()
	rule := cal.Days[0]
	for _, r := range cal.Days[1:] {
		if from := time.Date(r.From.Year, r.From.Month, r.From.Day, 0, 0, 0, 0, cal.Location); !from.After(on) {
			rule = r
		}
	}
	if rule.Off <= rule.On {
		d++
	}
	return time.Date(y, m, d, 0, 0, int(rule.Off/time.Second), 0, cal.Location)
}

// slopeOf gives the least-squares slope of a stretch in points/h, and its length in
// hours; ok is false of one too short to tell.
func slopeOf(s []Sample) (slope, length float64, ok bool) {
	if len(s) < 4 || s[len(s)-1].At.Sub(s[0].At) < stretchLeast {
		return 0, 0, false
	}
	n := float64(len(s))
	var mx, my, xy, xx float64
	for _, p := range s {
		mx += p.At.Sub(s[0].At).Hours() / n
		my += p.Value / n
	}
	for _, p := range s {
		dx := p.At.Sub(s[0].At).Hours() - mx
		xy += dx * (p.Value - my)
		xx += dx * dx
	}
	return xy / xx, s[len(s)-1].At.Sub(s[0].At).Hours(), true
}
