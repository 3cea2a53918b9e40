package zones

import (
	"math"
	"slices"
	"time"

	"rillgate/schedule"
	"rillgate/zones/response"
)

// Taught says what a zone's own past has shown (package response). The shell keeps
// what was learned, and says it at the start and whenever it changes.
type Taught struct {
	Zone       string
	Field      Level           // the level to which a shot drains back; 0 = not learned
	Day, Night response.Number // uptake, points/h; N 0 = not learned
	At         float64         // %, the moisture that the uptakes are of; 0 = not learned
	Slope      response.Number // share that they change by with every point; N 0 = not learned
}

func (*Taught) event() {}

// teach takes in what was learned of a zone.
func (r *Room) teach(e *Taught) {
	if z := r.zoneBy[e.Zone]; z != nil {
		z.taught = *e
	}
}

// doubtAlone is the half-width of a moisture that one probe gave, and leastDoubt that of
// probes that agree (both chosen here).
const (
	doubtAlone = Level(2000)
	leastDoubt = Level(500)
)

// mostDoubt bounds the half-width of few probes that lie apart (chosen here).
const mostDoubt = Level(5000)

// doubt gives the half-width of the zone's moisture, 95 %, to a tenth of a point: of three
// probes and more by themselves, of fewer by the spread that the zone showed before.
func (z *zone) doubt(t time.Duration) Level {
	var buf [64]float64
	vals := z.est.moistures(z, t, buf[:0])
	h, ok := halfWidth(vals)
	switch {
	case len(vals) >= 3:
		z.usualSpread = spread(vals)
	case z.usualSpread > 0:
		h, ok = 2*z.usualSpread/math.Sqrt(float64(max(len(vals), 1))), true
	}
	if !ok {
		return doubtAlone
	}
	return min(max(Level(math.Round(10*h))*100, leastDoubt), mostDoubt)
}

// wateredBlind adds to the last known moisture what a run of d gave while nobody could
// see it, half of which is doubtful.
func (z *zone) wateredBlind(d time.Duration) {
	if z.est.known || z.mem.LevelAt == 0 || d <= 0 {
		return
	}
	gain, most := z.cfg.Points(d), z.maxMoisture()
	if z.taught.Field > 0 {
		most = min(most, z.taught.Field)
	}
	z.mem.Level = max(z.mem.Level, min(z.mem.Level+gain, most))
	z.mem.LevelHalf = min(z.mem.LevelHalf+gain/2, mostDoubt)
	z.changed = true
}

// dryLevel is the moisture at which the zone counts as dry: that of its alarm, else 5
// points under the lowest `below` of its windows; 0 = it has none.
func (z *zone) dryLevel() Level {
	if z.cfg.Dry != nil {
		return z.cfg.Dry.Below
	}
	return max(z.sit.LowestBelow-nearLevel, 0)
}

// Drying says when a zone reaches its dry level without water.
type Drying struct {
	Level     Level
	At        time.Time     // by the wall clock
	HalfWidth time.Duration // either way, about 95 %
	Reached   bool          // it is there already
}

// drying gives when the zone gets dry at age t without water. ok is false when it has
// not taught enough, has no dry level, or lies more than a week off.
func (r *Room) drying(z *zone, t time.Duration) (d Drying, ok bool) {
	d.Level = z.dryLevel()
	m := z.mem // the level as it was last known
	if d.Level == 0 || m.LevelAt == 0 {
		return d, false
	}
	from := r.now.Wall.Add(m.LevelAt - r.t)
	f := response.Forecast{Level: m.Level.Float(), LevelHalf: max(m.LevelHalf, leastDoubt).Float(), DryLevel: d.Level.Float(), Day: z.taught.Day, Night: z.taught.Night,
		At: z.taught.At, Slope: z.taught.Slope}
	dry, ok := response.TimeToDry(f, r.lights(from))
	if !ok {
		return d, false
	}
	d.At, d.HalfWidth = from.Add(dry.After), dry.HalfWidth
	d.Reached = m.LevelAt+dry.After <= t
	return d, true
}

// lightsKept is how long one look at the calendar serves: it costs more than all the
// rest of a look at the room.
const lightsKept = 24 * time.Hour

// lights gives the lights from an instant on. Without a trusted clock they count as
// on, which dries a zone soonest; without times of lights, too.
func (r *Room) lights(from time.Time) response.Light {
	if len(r.plan.Calendar.Days) == 0 || !r.now.Trusted {
		return response.Light{On: true}
	}
	times := r.lightsFrom(from)
	out := response.Light{Switches: make([]time.Duration, 0, 2*len(times))}
	for _, in := range times {
		on, off := in.Start.Sub(from), in.End.Sub(from)
		if on <= 0 {
			out.On = out.On || off > 0
		} else {
			out.Switches = append(out.Switches, on)
		}
		if off > 0 {
			out.Switches = append(out.Switches, off)
		}
	}
	return out
}

// lightsFrom gives the times of the lights from an instant on, and some before.
func (r *Room) lightsFrom(from time.Time) []schedule.Instance {
	if from.Before(r.lightsFor) || from.Add(response.Horizon).After(r.lightsTo) {
		now := r.now.Wall // a zone that was heard long ago asks from then on, the others from now
		if from.After(now) {
			now = from
		}
		r.lightsFor, r.lightsTo = from.Add(-lightsKept/2), now.Add(lightsKept/2+response.Horizon)
		r.lightsOn = schedule.Upcoming(&r.plan.Calendar, lightsZone(), r.lightsFor, r.lightsTo)
	}
	return r.lightsOn
}

// lightsNow says whether the lights are on: by their input where there is one that is
// heard, else by a trusted clock; nil = not known. Without times of lights it is always
// day.
func (r *Room) lightsNow() *bool {
	on := true
	for _, in := range r.inputs {
		if in.cfg.Means == Lights && in.known {
			on = in.active
			return &on
		}
	}
	if len(r.plan.Calendar.Days) == 0 {
		return &on
	}
	if !r.now.Trusted {
		return nil
	}
	on = slices.ContainsFunc(r.lightsFrom(r.now.Wall), func(in schedule.Instance) bool {
		return !in.Start.After(r.now.Wall) && in.End.After(r.now.Wall)
	})
	return &on
}

// dryView adds when the zone gets dry.
func (r *Room) dryView(v *ZoneView, z *zone, t time.Duration) {
	v.DryLevel, v.Field = shown(z.dryLevel()), shown(z.taught.Field)
	if d, ok := r.drying(z, t); ok {
		at := d.At.In(r.location())
		v.DryAt, v.DryHalf = &at, d.HalfWidth.Seconds()
	}
}

// lightsZone is a schedule whose only window is the time of the lights.
func lightsZone() *schedule.Zone {
	return &schedule.Zone{Named: true, Windows: []schedule.Window{
		{Name: "lights", From: schedule.Edge{Anchor: schedule.LightsOn}, Until: schedule.Edge{Anchor: schedule.LightsOff}}}}
}

// dryingWords says it in a sentence without its end; "" where it cannot be told.
func (r *Room) dryingWords(z *zone, t time.Duration) string {
	d, ok := r.drying(z, t)
	switch {
	case !ok:
		return ""
	case d.Reached:
		return sprintf("%s is at or under its dry level of %g %% by now", z.id, d.Level.Float())
	}
	const step = 5 * time.Minute
	at := d.At.Add(step / 2).Truncate(step).In(r.location())
	layout := "15:04"
	if at.Sub(r.now.Wall) > 18*time.Hour {
		layout = "Mon 15:04"
	}
	half := max(d.HalfWidth.Round(step), step)
	return sprintf("%s reaches %g %% at about %s, %s either way", z.id, d.Level.Float(), at.Format(layout), words(half))
}

// dryingIf is dryingWords where it matters.
func (r *Room) dryingIf(z *zone, matters bool) string {
	if !matters {
		return ""
	}
	return r.dryingWords(z, r.t)
}

// soonest says of some zones which gets dry first.
func (r *Room) soonest(of func(z *zone) bool) string {
	var first *zone
	var when time.Time
	for _, z := range r.zones {
		if z.sit.Fallow || !of(z) {
			continue
		}
		if d, ok := r.drying(z, r.t); ok && (first == nil || d.At.Before(when)) {
			first, when = z, d.At
		}
	}
	if first == nil {
		return ""
	}
	return r.dryingWords(first, r.t)
}

// and joins a sentence and what may follow it.
func and(sentence, more string) string {
	if more == "" {
		return sentence
	}
	return sentence + "; " + more
}
