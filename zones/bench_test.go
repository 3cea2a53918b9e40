package zones_test

import (
	"testing"
	"time"

	"rillgate/schedule"
	"rillgate/zones"
)

// BenchmarkStep steps a room of 4 zones and 40 probes through its usual mix: each
// probe once a minute, a report every 5 s, a tick a second; the zones dry slowly
// and are watered under 40 %.
func BenchmarkStep(b *testing.B) {
	for _, c := range []struct {
		name string
		w    schedule.Window
	}{
		{"below", schedule.Window{Below: 40000, StopAt: 45000, Shot: schedule.Shot{Value: 60}, Rest: 20 * time.Minute}},
		{"dry_back", schedule.Window{DryBack: 3000, Shot: schedule.Shot{Value: 60}, Rest: 20 * time.Minute}},
	} {
		b.Run(c.name, func(b *testing.B) { benchStep(b, roomOf(4, 10, allDay(c.w))) })
	}
}

func benchStep(b *testing.B, plan *zones.Plan) {
	now := zones.Instant{Wall: time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC), Trusted: true}
	room, effects := zones.NewRoom(plan, zones.NewMemory(), now)
	rep := &zones.Report{Controller: "north", Boot: "b", Outputs: []zones.OutputReport{{Number: 1, FlowLPM: -1}, {Number: 2, FlowLPM: -1}, {Number: 3, FlowLPM: -1}, {Number: 4, FlowLPM: -1}}}
	steps := 0
	var pending []zones.Event
	take := func(effects []zones.Effect) {
		for _, e := range effects {
			switch e := e.(type) {
			case *zones.Record:
				pending = append(pending, &zones.Recorded{Seq: e.Seq})
			case *zones.Command:
				rep.Epoch, rep.Seq = e.Epoch, e.Seq
				rep.Outputs[e.Output.Number-1].Open = e.Open
			}
		}
	}
	step := func(ev zones.Event) {
		take(room.Step(now, ev))
		steps++
		for len(pending) > 0 {
			next := pending[0]
			pending = pending[1:]
			take(room.Step(now, next))
			steps++
		}
	}
	take(effects)
	step(&zones.BrokerLink{Up: true})
	var readings []*zones.Reading
	for i := range plan.Probes {
		readings = append(readings, moist(plan.Probes[i].Place, 50000))
	}
	tick := &zones.Tick{}
	b.ReportAllocs()
	b.ResetTimer()
	start := time.Now()
	steps = 0
	opened := 0
	for second := 0; steps < b.N; second++ {
		now.Mono += time.Second
		now.Wall = now.Wall.Add(time.Second)
		step(tick)
		if second%5 == 0 {
			rep.Uptime = now.Mono
			step(rep)
		}
		if second%60 < 40 {
			rd := readings[second%60]
			if rep.Outputs[(second%60)/10].Open {
				rd.Moisture += 3000
				opened++
			} else {
				rd.Moisture -= 30
			}
			step(rd)
		}
	}
	b.ReportMetric(float64(steps)/time.Since(start).Seconds(), "steps/s")
}
