package report

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/configs"
	"rillgate/zones"
	"rillgate/zones/simroom"
)

// rig is the core over the simulated room, with a ledger and a network that are always
// there, and a book that is written as the daemon writes it.
type rig struct {
	sim  *simroom.Room
	core *zones.Room
	todo []zones.Event
	in   *Input
}

func newRig(t *testing.T, start time.Time) *rig {
	t.Helper()
	loaded, problems := configs.Parse(configs.ExampleFiles(configs.ExampleDemo))
	require.NotNil(t, loaded, "%v", problems)
	sim, err := simroom.New(loaded.Plan, simroom.Options{Seed: 7, Start: start, CrystalPPM: -1})
	require.NoError(t, err)
	r := &rig{sim: sim, in: &Input{Plan: loaded.Plan, Moisture: map[string][]Sample{}, PoreEC: map[string][]Sample{}}}
	core, effects := zones.NewRoom(loaded.Plan, zones.NewMemory(), r.now())
	r.core = core
	r.act(effects)
	r.todo = append(r.todo, &zones.BrokerLink{Up: true})
	return r
}

func (r *rig) now() zones.Instant {
	return zones.Instant{Wall: r.sim.Wall(r.sim.Now()), Mono: r.sim.Now(), Trusted: true}
}

func (r *rig) act(effects []zones.Effect) {
	for _, e := range effects {
		switch e := e.(type) {
		case *zones.Record:
			r.todo = append(r.todo, &zones.Recorded{Seq: e.Seq})
		case *zones.Command:
			r.sim.Command(e)
		case *zones.Entry:
			r.in.Lines = append(r.in.Lines, Line{At: r.now().Wall, Entry: *e})
		}
	}
}

// live lets time pass, with a look at the room every minute, and calls after with it.
func (r *rig) live(end time.Duration, after func()) {
	for next := time.Minute; next <= end; next += time.Minute {
		for r.sim.Now() < next {
			for len(r.todo) > 0 {
				ev := r.todo[0]
				r.todo = r.todo[1:]
				r.act(r.core.Step(r.now(), ev))
			}
			outs := r.sim.Advance(min(next, r.sim.Next(), max(r.sim.Now()+time.Second, r.core.Next())))
			r.todo = append(r.todo, &zones.Tick{})
			for _, o := range outs {
				r.todo = append(r.todo, o.Event)
			}
		}
		v := r.core.View(r.now())
		for i := range v.Zones {
			if z := &v.Zones[i]; z.Moisture != nil {
				r.in.Moisture[z.ID] = append(r.in.Moisture[z.ID], Sample{v.Wall.Truncate(time.Minute), *z.Moisture})
			}
		}
		after()
	}
}

// A simulated day against what the simulation knows to be true: the water that went
// through the emitters, each opening of the valve, the highest and the lowest of the
// bed, and what the plants and the air took of it.
func TestASimulatedDayAgainstItsTruth(t *testing.T) {
	start := time.Date(2027, time.March, 1, 0, 0, 0, 0, time.UTC)
	r := newRig(t, start)
	const zone = "bench-a"
	plan := r.in.Plan
	z := &plan.Zones[slices.IndexFunc(plan.Zones, func(z zones.Zone) bool { return z.ID == zone })]
	var peak, floor, before, taken [2]float64 // by day
	floor = [2]float64{100, 100}
	var night [2]float64 // L taken by 01:00 and 05:00 of the second day
	r.live(48*time.Hour, func() {
		truth, _ := r.sim.Truth(zone)
		at := r.sim.Now()
		d := int((at - time.Minute) / (24 * time.Hour))
		peak[d], floor[d] = max(peak[d], truth.Moisture), min(floor[d], truth.Moisture)
		before[d], taken[d] = truth.Applied, truth.Taken+truth.Evaporated
		switch at {
		case 25 * time.Hour:
			night[0] = taken[d]
		case 29 * time.Hour:
			night[1] = taken[d]
		}
	})
	r.in.Now = r.sim.Wall(r.sim.Now())
	edges, err := Ask{Day: "2027-03-02"}.Edges(r.in.Now, plan.Calendar.Location)
	require.NoError(t, err)
	var got *ZoneDay
	day := Build(r.in, edges).Days[0]
	for i := range day.Zones {
		if day.Zones[i].Zone == zone {
			got = &day.Zones[i]
		}
	}
	require.NotNil(t, got)

	opened := r.sim.Opened(outputOf(plan, z))
	var seconds float64
	n := 0
	for _, o := range opened {
		if o.From >= 24*time.Hour {
			n++
			seconds += (o.To - o.From).Seconds()
		}
	}
	require.Positive(t, n)
	require.Equal(t, n, got.Shots)
	require.InDelta(t, seconds, got.Seconds, 0.5*float64(n))
	require.InDelta(t, before[1]-before[0], got.Litres, 0.02*got.Litres, "litres through the emitters")
	require.InDelta(t, 1000*got.Litres/float64(z.Plants), *got.MLPlant, 1e-9)

	const probes = 2.0 // points: four probes off by 0.7 each, in buckets whose emitters differ
	require.InDelta(t, peak[1], got.Peak.Value, probes)
	require.InDelta(t, floor[1], got.Floor.Value, probes)
	require.InDelta(t, 1440, got.Measured, 2)

	nightML := 1000 * (night[1] - night[0]) / 4 / float64(z.Plants)
	require.InDelta(t, nightML, *got.UptakeNight.MLPerPlantHour, 0.15*nightML)
	t.Logf("%d shots, %.1f L (true %.1f), %.1f to %.1f %% (true %.1f to %.1f), by night %.1f mL a plant and hour (true %.1f)", got.Shots, got.Litres,
		before[1]-before[0], got.Floor.Value, got.Peak.Value, floor[1], peak[1], *got.UptakeNight.MLPerPlantHour, nightML)
}

func outputOf(p *zones.Plan, z *zones.Zone) zones.Output {
	i := slices.IndexFunc(p.Valves, func(v zones.Valve) bool { return v.ID == z.Valves[0] })
	return p.Valves[i].Output
}
