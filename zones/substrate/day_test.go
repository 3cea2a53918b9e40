package substrate_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/schedule"
	"rillgate/zones"
	"rillgate/zones/simroom"
	"rillgate/zones/substrate"
)

// One plant in 4.0 L, whole days by hand, in microlitres, so that nothing rounds:
//
//	15:30  60.0 % of 4 L                                       2 400 000
//	18:00  lights off: 2.5 h x 100 000                           250 000  53.75 %
//	06:00  lights on: 12 h x 8 000                                96 000  51.35 %
//	06:00  four shots of 2 %, 72 s at 4 L/h, 20 min apart   4 x  80 000
//	07:30  1.5 h x 100 000                                       150 000  55.60 %
//	15:30  8 h x 100 000                                         800 000  35.60 %
const (
	volumeUL = 4_000_000
	startUL  = 2_400_000
	dayUL    = 100_000 // an hour, lights on
	nightUL  = 8_000   // an hour, lights off
	shotUL   = 80_000
)

func percent(ul int64) float64 { return 100 * float64(ul) / volumeUL }

func referenceRoom(t *testing.T) *simroom.Room {
	t.Helper()
	p := &zones.Plan{
		Room:        "bay",
		Calendar:    schedule.Calendar{Location: time.UTC, Days: []schedule.Day{{On: 6 * time.Hour, Off: 18 * time.Hour}}},
		Controllers: []zones.Controller{{ID: "north"}},
		Supplies:    []zones.Supply{{ID: "feed", MaxOpen: 1}},
		Valves:      []zones.Valve{{ID: "v", Output: zones.Output{Controller: "north", Number: 1}, Supply: "feed"}},
		Zones:       []zones.Zone{{ID: "z", Valves: []string{"v"}, Plants: 1, VolumeML: 4000, EmittersEach: 2, EmitterLPH: 2}},
	}
	r, err := simroom.New(p, simroom.Options{
		Start:     time.Date(2027, time.March, 1, 15, 30, 0, 0, time.UTC),
		EmitterCV: -1, ProbeSpread: -1, ProbeNoise: -1, ProbeLag: -1, Jitter: -1, CrystalPPM: -1,
		Zones: map[string]simroom.ZoneOptions{"z": {
			StartPercent: 60, UptakeDayLPH: 0.100, UptakeNightLPH: 0.008, EvaporationLPH: -1, FieldPercent: 70, Response: -1,
		}},
	})
	require.NoError(t, err)
	return r
}

// seen checks the room against the hand's microlitres and the balance's gap.
func seen(t *testing.T, r *simroom.Room, waterUL, appliedUL, takenUL int64) {
	t.Helper()
	x, ok := r.Truth("z")
	require.True(t, ok)
	require.InDelta(t, float64(appliedUL)*1e-6, x.Applied, 1e-9)
	require.InDelta(t, float64(takenUL)*1e-6, x.Taken, 1e-9)
	require.InDelta(t, float64(waterUL)*1e-6, x.Water, 1e-9)
	require.InDelta(t, percent(waterUL), x.Moisture, 1e-7)
	b := substrate.Balance{Start: x.Start, End: x.Water, Applied: x.Applied, Taken: x.Taken, Evaporated: x.Evaporated, Drained: x.Drained}
	require.InDelta(t, 0, b.Gap(), 1e-9)
	require.Zero(t, x.Drained)
}

// A whole simulated day against the arithmetic above.
func TestReferenceDayByHand(t *testing.T) {
	r := referenceRoom(t)
	h := &grants{t: t, r: r}
	h.to(150 * time.Minute)
	water, taken := int64(startUL-250_000), int64(250_000)
	seen(t, r, water, 0, taken)
	dusk := percent(water)
	require.Equal(t, 53.75, dusk)

	h.to(14*time.Hour + 30*time.Minute)
	water, taken = water-12*nightUL, taken+12*nightUL
	seen(t, r, water, 0, taken)
	dry, err := substrate.DryBackOf(60, percent(water))
	require.NoError(t, err)
	require.InDelta(t, 8.65, dry.Points, 1e-9)
	require.InDelta(t, 14.42, dry.Relative, 0.005)
	require.InDelta(t, 2.40, dusk-percent(water), 1e-9)

	for i, run := range []string{"r-1", "r-2", "r-3", "r-4"} {
		h.to(14*time.Hour + 30*time.Minute + time.Duration(i)*20*time.Minute)
		h.open(run, 72*time.Second)
	}
	h.to(16 * time.Hour)
	water, taken = water+4*shotUL-150_000, taken+150_000
	seen(t, r, water, 4*shotUL, taken)
	require.Equal(t, 55.60, percent(water))

	h.to(24 * time.Hour)
	water, taken = water-800_000, taken+800_000
	seen(t, r, water, 4*shotUL, taken)
	require.Equal(t, 35.60, percent(water))
}

// Without uptake four shots would bring 51.35 to 59.35 %: a p % shot is p points.
func TestShotsByHand(t *testing.T) {
	require.InDelta(t, 59.35, percent(startUL-250_000-12*nightUL+4*shotUL), 1e-9)
	dose, err := substrate.Drip{VolumeML: 4000, Emitters: 2, EmitterLPH: 2}.OfPoints(2)
	require.NoError(t, err)
	require.InDelta(t, shotUL/1000, dose.ML, 1e-9)
	require.InDelta(t, 72, dose.Seconds, 1e-9)
}

// The gap is what the books do not explain; by hand.
func TestBalanceGap(t *testing.T) {
	b := substrate.Balance{Start: 2.4, End: 2.0, Applied: 0.32, Taken: 0.6, Evaporated: 0.02, Drained: 0.1}
	require.InDelta(t, 0, b.Gap(), 1e-12)
	b.End += 0.25
	require.InDelta(t, 0.25, b.Gap(), 1e-12, "water came in that nobody applied")
}

// The plan's own arithmetic of shots and this package's must agree.
func TestDoseAgreesWithThePlan(t *testing.T) {
	z := zones.Zone{VolumeML: 6500, EmittersEach: 2, EmitterLPH: 1.9}
	drip := substrate.Drip{VolumeML: 6500, Emitters: 2, EmitterLPH: 1.9}
	for points := 0.5; points <= 6; points += 0.5 {
		dose, err := drip.OfPoints(points)
		require.NoError(t, err)
		long, ok := z.RunTime(schedule.Shot{Kind: schedule.ByPercent, Value: points})
		require.True(t, ok)
		require.InDelta(t, dose.Seconds, long.Seconds(), 0.001)
		require.InDelta(t, points, z.Points(long).Float(), 0.001)
		byML, ok := z.RunTime(schedule.Shot{Kind: schedule.ByMillilitres, Value: dose.ML})
		require.True(t, ok)
		require.Equal(t, long, byML)
	}
}

// grants opens the one valve as a gateway would.
type grants struct {
	t   *testing.T
	r   *simroom.Room
	seq uint32
	rep *zones.Report
	at  time.Duration
}

func (g *grants) to(at time.Duration) {
	for _, o := range g.r.Advance(at) {
		if m, ok := o.Event.(*zones.Report); ok {
			g.rep, g.at = m, o.At
		}
	}
}

func (g *grants) open(run string, long time.Duration) {
	g.t.Helper()
	g.seq++
	uptime := (g.rep.Uptime + g.r.Now() - g.at).Milliseconds()
	require.Equal(g.t, simroom.Acted, g.r.Command(&zones.Command{
		Output: zones.Output{Controller: "north", Number: 1}, Epoch: 1, Seq: g.seq, Run: run, Open: true,
		Boot: g.rep.Boot, UntilMS: uptime + long.Milliseconds(),
	}))
}
