package response

import (
	"math"
	"slices"
	"time"
)

// Model is what the zones of one room have taught. It is not safe for concurrent use.
type Model struct {
	beds []*bed
	now  int64 // s of age
	lit  bool
	turn int64 // age at which the lights last changed
	told bool  // the lights are known

	changed bool // a finding came or went since Advance last told
}

// New gives a model that knows nothing yet. A probe that two zones name counts for the
// first.
func New(zones []Zone) *Model {
	m := &Model{}
	m.Fit(zones)
	return m
}

// Fit puts another plan in force. A zone that keeps its id, plants, volume, flow and
// probes keeps what it taught; any other begins anew.
func (m *Model) Fit(zones []Zone) {
	old := m.beds
	m.beds = nil
	taken := map[string]bool{}
	for _, z := range zones {
		z.Plants = max(z.Plants, 1)
		z.Probes = slices.DeleteFunc(slices.Clone(z.Probes), func(p string) bool {
			twice := taken[p]
			taken[p] = true
			return twice
		})
		z.Probes = z.Probes[:min(len(z.Probes), 64)]
		i := slices.IndexFunc(old, func(b *bed) bool { return b.zone.same(z) })
		if i < 0 {
			m.beds = append(m.beds, newBed(z, m.now))
			continue
		}
		old[i].zone.Name = z.Name
		m.beds = append(m.beds, old[i])
	}
}

func (z Zone) same(o Zone) bool {
	return z.ID == o.ID && z.Plants == o.Plants && z.VolumeML == o.VolumeML && z.FlowLPH == o.FlowLPH && slices.Equal(z.Probes, o.Probes)
}

func (z Zone) title() string {
	if z.Name != "" {
		return z.Name
	}
	return z.ID
}

// Forget throws away what a zone has taught and what was found of it: after new
// emitters, another crop, probes moved. It reports whether there is such a zone.
func (m *Model) Forget(zone string) bool {
	for i, b := range m.beds {
		if b.zone.ID == zone {
			m.beds[i] = newBed(b.zone, m.now)
			return true
		}
	}
	return false
}

// Sample takes one probe's moisture. Those of unknown probes, not finite, or older
// than the last one are left out.
func (m *Model) Sample(s Sample) {
	if math.IsNaN(s.Moisture) || s.Moisture < 0 || s.Moisture > 100 {
		return
	}
	for _, b := range m.beds {
		if i := slices.Index(b.zone.Probes, s.Probe); i >= 0 {
			b.tracks[i].put(dot{seconds(s.At), milli(math.Round(s.Moisture * 1000))})
			return
		}
	}
}

// Lights says whether the lights are on from this age on. Until it is told, nothing is
// learned of uptake.
func (m *Model) Lights(at time.Duration, on bool) {
	if m.told && m.lit == on {
		return
	}
	m.Advance(at)
	for _, b := range m.beds {
		b.endStretch(seconds(at), m)
	}
	m.lit, m.turn, m.told = on, seconds(at), true
	for _, b := range m.beds {
		b.calmFrom(m.turn + settleLights)
	}
}

// Opened says that the zone's valves open at this age. A run that is not told here, but
// to Ran alone, may meanwhile look like a leak.
func (m *Model) Opened(zone string, at time.Duration) {
	if b := m.bed(zone); b != nil {
		m.Advance(at)
		b.opened(seconds(at), m)
	}
}

// Ran takes a finished run.
func (m *Model) Ran(r Run) {
	if b := m.bed(r.Zone); b != nil && r.Closed >= r.Opened {
		b.ran(r, m)
	}
}

// Advance lets time pass and judges what is due; once a minute is right. It reports
// whether a finding came or went.
func (m *Model) Advance(to time.Duration) (changed bool) {
	t := seconds(to)
	if t <= m.now {
		return false
	}
	m.now = t
	for _, b := range m.beds {
		m.judge(b)
	}
	changed = m.changed
	m.changed = false
	return changed
}

// Learned gives what a zone has taught; ok is false for a zone the model has not.
func (m *Model) Learned(zone string) (l Learned, ok bool) {
	b := m.bed(zone)
	if b == nil {
		return Learned{}, false
	}
	return b.learned().Learned, true
}

// Findings gives what is found now, by zone in the plan's order, then by weight.
func (m *Model) Findings() []Finding {
	var all []Finding
	for _, b := range m.beds {
		all = append(all, b.standing()...)
	}
	return all
}

// TimeToDry gives when a zone falls from level (%, with the half-width of its 95 %
// interval) to its dry level if it gets no water. ok is false when the zone has not
// taught enough, or the level is not reached within Horizon.
func (m *Model) TimeToDry(zone string, level, half, dry float64, light Light) (d Dry, ok bool) {
	b := m.bed(zone)
	if b == nil {
		return Dry{}, false
	}
	l := b.learned()
	return TimeToDry(Forecast{
		Level: level, LevelHalf: half, DryLevel: dry, Day: l.UptakeDay, Night: l.UptakeNight, At: l.UptakeAt, Slope: l.UptakeSlope,
	}, light)
}

func (m *Model) bed(zone string) *bed {
	for _, b := range m.beds {
		if b.zone.ID == zone {
			return b
		}
	}
	return nil
}

func seconds(d time.Duration) int64 { return int64(d / time.Second) }

func age(s int64) time.Duration { return time.Duration(s) * time.Second }
