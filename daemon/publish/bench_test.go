package publish

import (
	"fmt"
	"testing"
	"time"

	"rillgate/zones"
)

// sink takes everything and keeps nothing.
type sink struct{}

func (sink) Up() bool                                           { return true }
func (sink) Publish(string, byte, bool, []byte) bool            { return true }
func (sink) Subscribe(string, byte, func(string, []byte, bool)) {}

// bigView is a room of 4 zones and 40 probes.
func bigView() zones.View {
	v := roomView()
	for i := range 2 {
		z := v.Zones[0]
		z.ID = fmt.Sprintf("more-%d", i)
		v.Zones = append(v.Zones, z)
	}
	p := v.Probes[0]
	v.Probes = nil
	for i := range 40 {
		p.ID = fmt.Sprintf("p%d", i)
		v.Probes = append(v.Probes, p)
	}
	return v
}

// BenchmarkUpdate is one look at a room of 4 zones and 40 probes in which one reading
// changed.
func BenchmarkUpdate(b *testing.B) {
	mono := time.Duration(0)
	p := New(Config{Homie: true, Root: "homie", Room: "bay-2", Clock: func() (time.Time, time.Duration) { return time.Time{}, mono }}, sink{})
	s := &Snapshot{View: bigView()}
	p.heard = true
	p.Update(s)
	b.ReportAllocs()
	for i := range b.N {
		mono += time.Second
		s.View.Probes[i%40].Moisture = ptr(float64(i % 100))
		p.Update(s)
	}
}
