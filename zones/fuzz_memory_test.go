package zones

import (
	"encoding/json"
	"reflect"
	"slices"

	"rillgate/schedule"
)

// sameMemory: what must outlive the process is in its records.
func (b *books) sameMemory(m *Memory) {
	want, have := sworn(remembered(b.t, m)), sworn(remembered(b.t, b.shadow))
	want.Age = have.Age
	if !reflect.DeepEqual(want, have) {
		x, _ := json.Marshal(want)
		y, _ := json.Marshal(have)
		b.t.Fatalf("the room remembers\n%s\nits records say\n%s", x, y)
	}
}

// sworn leaves of a memory what may not get lost: highs, responses and the day's high
// are written once a minute, an output of which nothing was said is not written.
func sworn(m *Memory) *Memory {
	for name, o := range m.Outputs {
		o.Spent = o.Spent || m.Spent
		if reflect.DeepEqual(*o, OutputMemory{Spent: m.Spent}) {
			delete(m.Outputs, name)
		}
	}
	for name, z := range m.Zones {
		kept := ZoneMemory{HoldUntil: z.HoldUntil, HoldSource: z.HoldSource, Litres: z.Litres, Shots: z.Shots, RunTime: z.RunTime}
		// An instance that is over goes to Past when the next begins, which is no news to
		// be written at once: what counts is that each still has its shots.
		for _, had := range append(slices.Clone(z.Past), z.Progress) {
			if had.Shots > 0 {
				kept.Past = append(kept.Past, schedule.Progress{Instance: had.Instance, Shots: had.Shots})
			}
		}
		if m.Zones[name] = &kept; reflect.DeepEqual(kept, ZoneMemory{}) {
			delete(m.Zones, name)
		}
	}
	if len(m.Outputs) == 0 {
		m.Outputs = nil
	}
	if len(m.Zones) == 0 {
		m.Zones = nil
	}
	return m
}

// end looks at the room once more from outside: its view is JSON, and honest about
// what it does not know.
func (b *books) end(r *Room, now Instant) {
	b.sameMemory(r.Memory())
	v := r.View(now)
	if _, err := json.Marshal(v); err != nil {
		b.t.Fatalf("the view is no JSON: %v", err)
	}
	for i := range v.Zones {
		if z := &v.Zones[i]; (z.Moisture == nil) != (z.Quality == QualityNone) {
			b.t.Fatalf("INV-28: zone %s has quality %s, moisture %v", z.ID, z.Quality, z.Moisture)
		}
	}
}
