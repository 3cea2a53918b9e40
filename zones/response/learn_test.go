package response_test

import (
	"encoding/json"
	"flag"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones/response"
	"rillgate/zones/simroom"
)

// seeds is how many simulated rooms each number is learned in, and each fault planted.
var seeds = flag.Int("response.seeds", 1, "simulated rooms for each check")

const day = 24 * time.Hour

// wetHabit waters up to the field level of 63 % every morning, so that shots drain.
var wetHabit = habit{Low: 62, Stop: 63.5, Shot: 4, Back: 4, Day: 3, From: 7 * time.Hour, Noon: 9 * time.Hour, Until: 16 * time.Hour, Rest: 15 * time.Minute}

// truths are what the simulated room knows of a zone over a time.
type truths struct{ perLitre, delay, day, night, dayML, nightML, field float64 }

// watchTruth lets a room go on for days and sums what plants and air took by day and by
// night.
func watchTruth(r *rig, zone string, until time.Duration) truths {
	b := r.beds[zone]
	litres := b.zone.VolumeML / 1000 * float64(b.zone.Plants)
	var lost, hours [2]float64
	for r.now() < until {
		x, _ := r.sim.Truth(zone)
		lit, from := r.lit, r.now()
		r.to((r.now()/time.Hour + 1) * time.Hour)
		y, _ := r.sim.Truth(zone)
		k := 0
		if lit {
			k = 1
		}
		lost[k] += y.Taken + y.Evaporated - x.Taken - x.Evaporated
		hours[k] += (r.now() - from).Hours()
	}
	t := truths{perLitre: 100 * 1000 / b.zone.VolumeML, field: 63}
	t.day, t.night = 100*lost[1]/litres/hours[1], 100*lost[0]/litres/hours[0]
	t.dayML, t.nightML = 1000*lost[1]/hours[1]/float64(b.zone.Plants), 1000*lost[0]/hours[0]/float64(b.zone.Plants)
	return t
}

// halfRise gives the minutes from an opening to half of the rise that a probe with this
// lag sees of a shot of this length, without noise: the rise of a first-order lag behind
// a ramp, solved by halving (own derivation).
func halfRise(long, lag float64) float64 {
	seen := func(t float64) float64 {
		if t <= long {
			return (t - lag*(1-math.Exp(-t/lag))) / long
		}
		return 1 - lag/long*(math.Exp(long/lag)-1)*math.Exp(-t/lag)
	}
	low, high := 0.0, 10*(long+lag)
	for range 60 {
		if mid := (low + high) / 2; seen(mid) < 0.5 {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}

// trueDelay is the mean of halfRise over shots, with the room's lag of 3 min.
func trueDelay(long []time.Duration) (mean float64) {
	for _, d := range long {
		mean += halfRise(d.Minutes(), 3) / float64(len(long))
	}
	return mean
}

// After three days with noise every number is within a tenth of what is so in the room:
// of a zone whose shots stay in the substrate, and of one that drains every morning.
func TestLearnsWithinATenth(t *testing.T) {
	for seed := 1; seed <= *seeds; seed++ {
		for _, zone := range []string{"z1", "z2"} {
			r := newRig(t, rigPlan(2, 4), simroom.Options{Seed: uint64(seed)}, plainHabit, wetHabit)
			want := watchTruth(r, zone, 3*day)
			want.delay = trueDelay(r.beds[zone].long)
			got := r.learned(zone)
			near := func(what string, got response.Number, want float64) {
				t.Logf("seed %d %s %s: %.3f of %.3f (%+.1f %%), half-width %.3f, spread %.3f, n %d",
					seed, zone, what, got.Value, want, 100*(got.Value/want-1), got.HalfWidth, got.Spread, got.N)
				require.InEpsilon(t, want, got.Value, 0.1, what)
				require.GreaterOrEqual(t, got.N, 2, what)
				require.Positive(t, got.HalfWidth, what)
			}
			near("points a litre", got.PointsPerLitre, want.perLitre)
			near("delay, min", got.DelayMinutes, want.delay)
			near("uptake by day, points/h", got.UptakeDay, want.day)
			near("uptake by night, points/h", got.UptakeNight, want.night)
			near("uptake by day, mL a plant", got.UptakeDayML, want.dayML)
			near("uptake by night, mL a plant", got.UptakeNightML, want.nightML)
			if zone == "z2" {
				near("field level, %", got.Field, want.field)
			} else {
				require.False(t, got.Field.Known(), "nothing drained")
			}
			require.Empty(t, r.told)
		}
	}
}

// A model that went through its JSON in between goes on as if nothing had been.
func TestStateGoesOn(t *testing.T) {
	o := simroom.Options{Seed: 5, Faults: []simroom.Fault{{Kind: simroom.EmittersBlocked, Subject: "z1", At: 2*day + 6*time.Hour, Value: 0.2}}}
	a := newRig(t, rigPlan(2, 3), o, plainHabit, wetHabit)
	b := newRig(t, rigPlan(2, 3), o, plainHabit, wetHabit)
	for h := 7; h < 60; h += 7 {
		at := time.Duration(h)*time.Hour + 5*time.Minute
		a.to(at)
		b.to(at)
		b.again()
		for _, z := range []string{"z1", "z2"} {
			require.Equal(t, a.learned(z), b.learned(z))
		}
		require.Equal(t, a.m.Findings(), b.m.Findings())
	}
	require.NotEmpty(t, b.told)
	text, err := json.Marshal(b.m)
	require.NoError(t, err)
	t.Logf("%d bytes for 2 zones of 3 probes", len(text))
	require.Less(t, len(text), 200_000)
}

// What was learned of a zone stays with its plants, emitters and probes.
func TestFitAndForget(t *testing.T) {
	p := rigPlan(2, 3)
	r := newRig(t, p, simroom.Options{Seed: 6})
	r.to(2 * day)
	zones := modelZones(p)
	was := r.learned("z1")
	require.Positive(t, was.UptakeDay.N)

	zones[0].Name = "east"
	r.m.Fit(zones[:1])
	require.Equal(t, was, r.learned("z1"), "a name changes nothing")
	_, ok := r.m.Learned("z2")
	require.False(t, ok, "left the plan")

	zones[0].Plants = 40
	r.m.Fit(zones)
	require.Equal(t, response.Learned{Zone: "z1"}, r.learned("z1"), "other plants drink otherwise")
	require.Equal(t, response.Learned{Zone: "z2"}, r.learned("z2"))

	r.to(3 * day)
	require.Positive(t, r.learned("z1").UptakeDay.N)
	require.True(t, r.m.Forget("z1"))
	require.False(t, r.m.Forget("z9"))
	require.Zero(t, r.learned("z1").UptakeDay.N)
	require.Positive(t, r.learned("z2").UptakeDay.N)
}

// Zones that lack emitters or volume still teach what can be told without.
func TestWithoutLitres(t *testing.T) {
	p := rigPlan(1, 3)
	r := newRig(t, p, simroom.Options{Seed: 7})
	zones := modelZones(p)
	zones[0].FlowLPH, zones[0].VolumeML = 0, 0
	r.m.Fit(zones)
	r.to(2 * day)
	l := r.learned("z1")
	require.Positive(t, l.Shots)
	require.Positive(t, l.UptakeDay.N)
	require.Positive(t, l.DelayMinutes.N)
	require.Zero(t, l.PointsPerLitre.N)
	require.Zero(t, l.UptakeDayML.N)
	r.inject(simroom.Fault{Kind: simroom.SupplyDry, Subject: "feed", At: 2 * day})
	r.to(2*day + 12*time.Hour)
	require.Len(t, r.m.Findings(), 1)
	require.Equal(t, response.EmittersBlocked, r.m.Findings()[0].Code)
}

// What nobody can have measured is left out, and what is asked of an unknown zone is
// answered so.
func TestOddInput(t *testing.T) {
	m := response.New([]response.Zone{{ID: "a", Probes: []string{"p", "p", "q"}}, {ID: "b", Probes: []string{"q"}}})
	for _, x := range []float64{math.NaN(), math.Inf(1), -1, 101} {
		m.Sample(response.Sample{Probe: "p", At: time.Hour, Moisture: x})
	}
	m.Sample(response.Sample{Probe: "none", At: time.Hour, Moisture: 50})
	m.Opened("none", time.Hour)
	m.Ran(response.Run{Zone: "none"})
	m.Ran(response.Run{Zone: "a", Opened: 2 * time.Hour, Closed: time.Hour})
	require.False(t, m.Advance(3*time.Hour))
	require.False(t, m.Advance(time.Hour), "time does not go back")
	require.Empty(t, m.Findings())
	_, ok := m.TimeToDry("none", 50, 1, 40, response.Light{On: true})
	require.False(t, ok)
	_, ok = m.TimeToDry("a", 50, 1, 40, response.Light{On: true})
	require.False(t, ok, "nothing is learned yet")
	require.ErrorContains(t, json.Unmarshal([]byte(`{"version":9}`), m), "begin anew")
	require.ErrorContains(t, json.Unmarshal([]byte(`{"version":1,"zones":[{"zone":{"ID":"a","Probes":["p"]}}]}`), m), "begin anew")
	_, ok = m.Learned("b")
	require.True(t, ok, "a state that does not fit changes nothing")
}
