package zones_test

import (
	"fmt"
	"math"
	"time"

	"rillgate/schedule"
	"rillgate/zones"
)

var nan = math.NaN()

// allDay is a window that is always open.
func allDay(w schedule.Window) schedule.Window {
	w.Name, w.Until = "all-day", schedule.Edge{Offset: 24 * time.Hour}
	return w
}

// roomOf gives a plan with n zones of m probes each, one valve a zone, on one
// controller and one supply that carries one valve.
func roomOf(n, m int, w schedule.Window) *zones.Plan {
	p := &zones.Plan{
		Hash: "0000", Room: "bay", Lease: 30 * time.Second,
		Calendar:    schedule.Calendar{Location: time.UTC, Days: []schedule.Day{{On: 6 * time.Hour, Off: 18 * time.Hour}}},
		Controllers: []zones.Controller{{ID: "north"}},
		Supplies:    []zones.Supply{{ID: "feed", MaxOpen: 1}},
	}
	for i := range n {
		id := string(rune('a' + i))
		p.Valves = append(p.Valves, zones.Valve{ID: id, Output: zones.Output{Controller: "north", Number: i + 1}, Supply: "feed"})
		p.Zones = append(p.Zones, zones.Zone{
			ID: id, Valves: []string{id}, Plants: 10, VolumeML: 6500, EmittersEach: 2, EmitterLPH: 2,
			Moisture: zones.Moisture{Combine: zones.Median, Quorum: min(2, m), StaleAfter: 3 * time.Minute, PlausibleLo: 2000, PlausibleHi: 95000},
			Limits:   zones.Limits{MaxRun: 6 * time.Minute, MinRest: 5 * time.Minute, MaxPerDay: time.Hour, MaxMoisture: 70000},
			Schedule: schedule.Zone{Named: true, Windows: []schedule.Window{w}},
		})
		for k := range m {
			p.Probes = append(p.Probes, zones.Probe{ID: fmt.Sprintf("%s%d", id, k), Place: zones.Place{Controller: "north", Terminal: i + 1, Address: string(rune('0' + k))}, Zone: id})
		}
	}
	return p
}

func moist(p zones.Place, level zones.Level) *zones.Reading {
	return &zones.Reading{Place: p, Moisture: level, HasMoisture: true, EC: nan, Temperature: nan, Permittivity: nan}
}
