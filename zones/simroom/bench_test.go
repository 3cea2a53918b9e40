package simroom

import (
	"strconv"
	"testing"
	"time"
)

// A room-day: 4 zones, 40 probes at one reading a minute, a report every 5 s, a shot an
// hour in each zone by day.
func BenchmarkRoomDay(b *testing.B) {
	b.ReportAllocs()
	for i := 0; i < b.N; i++ {
		h := newHand(b, newRoom(b, testPlan(4, 10), Options{Seed: uint64(i)}))
		for hour := 0; hour < 24; hour++ {
			for z := 1; z <= 4; z++ {
				h.pass(10 * time.Minute)
				if hour > 6 && hour < 17 {
					h.open(z, strconv.Itoa(hour), 2*time.Minute)
				}
			}
			for end := time.Duration(hour+1) * time.Hour; h.r.Now() < end; {
				h.pass(time.Second)
			}
		}
	}
}
