package trace

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strconv"
	"time"

	"rillgate/schedule"
	"rillgate/zones"
)

// start is when the traces of these tests begin: a Monday, six hours before noon.
var start = time.Date(2027, 3, 1, 6, 0, 0, 0, time.UTC)

// benches is a plan of n zones (east, west, ...) with ten probes each on a terminal
// of their own, two to a supply, a tank switch, and a master on the first supply.
func benches(n int) *zones.Plan {
	p := &zones.Plan{
		Hash: "h", Room: "bay", Lease: 30 * time.Second,
		Calendar:    schedule.Calendar{Location: time.UTC, Days: []schedule.Day{{On: 6 * time.Hour, Off: 18 * time.Hour}}},
		Controllers: []zones.Controller{{ID: "north", Inputs: []zones.Input{{ID: "tank-low", Means: zones.SupplyLow}}}},
	}
	names := []string{"east", "west", "mid", "far"}
	for i := range n {
		supply := "feed-" + strconv.Itoa(i/2)
		if i%2 == 0 {
			p.Supplies = append(p.Supplies, zones.Supply{ID: supply, MaxOpen: 1})
		}
		p.Valves = append(p.Valves, zones.Valve{ID: names[i], Output: zones.Output{Controller: "north", Number: i + 1}, Supply: supply})
		p.Zones = append(p.Zones, bench(names[i]))
		for a := range 10 {
			p.Probes = append(p.Probes, zones.Probe{
				ID: fmt.Sprintf("%s-%d", names[i], a), Zone: names[i],
				Place: zones.Place{Controller: "north", Terminal: i + 1, Address: strconv.Itoa(a)},
			})
		}
	}
	p.Supplies[0].Low = "tank-low"
	p.Supplies[0].Master = &zones.Master{Output: zones.Output{Controller: "north", Number: 8}, Kind: zones.MasterValve, Lead: 2 * time.Second}
	return p
}

func bench(id string) zones.Zone {
	return zones.Zone{
		ID: id, Valves: []string{id}, Plants: 48, VolumeML: 6500, EmittersEach: 2, EmitterLPH: 2,
		Moisture: zones.Moisture{Combine: zones.Median, Quorum: 2, StaleAfter: 3 * time.Minute, PlausibleLo: 2000, PlausibleHi: 95000},
		Limits:   zones.Limits{MaxRun: 6 * time.Minute, MinRest: 5 * time.Minute, MaxPerDay: time.Hour, MaxMoisture: 70000},
		Schedule: schedule.Zone{Named: true, Windows: []schedule.Window{
			{
				Name: "ramp-up", From: schedule.Edge{Anchor: schedule.LightsOn, Offset: time.Hour}, Until: schedule.Edge{Anchor: schedule.LightsOn, Offset: 4 * time.Hour},
				Below: 48000, StopAt: 55000, Shot: schedule.Shot{Kind: schedule.ByPercent, Value: 3}, Rest: 15 * time.Minute,
			},
			{
				Name: "daytime", From: schedule.Edge{Anchor: schedule.LightsOn, Offset: 4 * time.Hour}, Until: schedule.Edge{Anchor: schedule.LightsOff, Offset: -2 * time.Hour},
				DryBack: 3000, Floor: 40000, Shot: schedule.Shot{Kind: schedule.ByPercent, Value: 2}, Rest: 20 * time.Minute, MaxShots: 8,
			},
		}},
	}
}

// writeReadings writes n minutes of readings of every probe of a plan, as a room
// that is watered would give them. Probes differ a little, by a fixed rule; the
// minute's readings are spread over its seconds.
func writeReadings(out io.Writer, plan *zones.Plan, from time.Time, minutes int) error {
	w := bufio.NewWriterSize(out, 1<<20)
	var line []byte
	for m := range minutes {
		for i := range plan.Probes {
			place := plan.Probes[i].Place
			at := from.Add(time.Duration(m)*time.Minute + time.Duration(i*59/len(plan.Probes))*time.Second)
			line = append(line[:0], `{"at":"`...)
			line = at.AppendFormat(line, time.RFC3339)
			line = append(line, `","reading":{"controller":"north","terminal":`...)
			line = strconv.AppendInt(line, int64(place.Terminal), 10)
			line = append(line, `,"address":"`...)
			line = append(line, place.Address...)
			line = append(line, `","moisture":`...)
			line = strconv.AppendFloat(line, moistureAt(at, i), 'f', 2, 64)
			line = append(line, `,"ec":1.8,"temperature":22.1}}`+"\n"...)
			if _, err := w.Write(line); err != nil {
				return err
			}
		}
	}
	return w.Flush()
}

// moistureAt climbs from 44 to 56 % in the two hours after 07:00, goes up and down by
// 3.5 points every two hours until 16:00, and dries to 44 % by the next morning.
func moistureAt(at time.Time, probe int) float64 {
	hour := float64(at.Unix()%86400) / 3600
	level := 0.0
	switch {
	case hour >= 7 && hour < 9:
		level = 44 + 6*(hour-7)
	case hour >= 9 && hour < 16:
		part := math.Mod(hour-9, 2) / 2 // falls for 11 parts of 12, rises in the last
		level = 56 - 3.5*math.Min(part*12/11, 12*(1-part))
	default:
		level = 54 - 10*math.Mod(hour+8, 24)/15
	}
	return level + 0.8*math.Sin(float64(probe)) + 0.05*math.Sin(float64(at.Unix()/60+int64(probe)*7))
}
