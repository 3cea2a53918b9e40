package zones_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"rillgate/schedule"
	"rillgate/zones"
	"rillgate/zones/virtual"
)

type printer struct{ t *testing.T }

func (p printer) Stepped(at time.Time, now zones.Instant, ev zones.Event, effects []zones.Effect) {
	for _, e := range effects {
		switch e := e.(type) {
		case *zones.Record:
			fmt.Printf("%s   record %d %s\n", at.Format("15:04:05"), e.Seq, e.Kind)
		default:
			fmt.Printf("%s %T %+v\n", at.Format("15:04:05.000"), e, e)
		}
	}
}
func (p printer) Physical(now zones.Instant, o zones.Output, open bool) {
	fmt.Printf("          %s open=%v\n", o, open)
}

func TestFirstDay(t *testing.T) {
	plan := &zones.Plan{
		Hash: "x", Room: "bay", Lease: 30 * time.Second,
		Calendar:    schedule.Calendar{Location: time.UTC, Days: []schedule.Day{{On: 6 * time.Hour, Off: 18 * time.Hour}}},
		Controllers: []zones.Controller{{ID: "north"}},
		Supplies:    []zones.Supply{{ID: "feed", MaxOpen: 1}},
		Valves:      []zones.Valve{{ID: "east", Output: zones.Output{"north", 1}, Supply: "feed"}},
		Zones: []zones.Zone{{ID: "east", Valves: []string{"east"}, Plants: 10, VolumeML: 6500, EmittersEach: 2, EmitterLPH: 2,
			Moisture: zones.Moisture{zones.Median, 2, 3 * time.Minute, 2000, 95000},
			Limits:   zones.Limits{6 * time.Minute, 5 * time.Minute, time.Hour, 70000},
			Schedule: schedule.Zone{Named: true, Windows: []schedule.Window{{Name: "all", Until: schedule.Edge{Offset: 24*time.Hour - 1}, Below: 40000, Shot: schedule.Shot{Value: 60}, Rest: 10 * time.Minute}}},
		}},
	}
	for i := 0; i < 3; i++ {
		plan.Probes = append(plan.Probes, zones.Probe{ID: fmt.Sprint("e", i), Place: zones.Place{"north", 1, fmt.Sprint(i)}, Zone: "east"})
	}
	start := time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC)
	w := virtual.New(plan, start, printer{t})
	for m := 0; m < 40; m++ {
		w.Advance(start.Add(time.Duration(m) * time.Minute))
		for i := range plan.Probes {
			w.Send(&zones.Reading{Place: plan.Probes[i].Place, Moisture: 39000, HasMoisture: true, EC: math.NaN(), Temperature: math.NaN(), Permittivity: math.NaN()})
		}
	}
}
