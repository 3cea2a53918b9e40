package response_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones/response"
	"rillgate/zones/simroom"
)

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

func TestScratch(t *testing.T) {
	var errs [7][]float64
	for seed := uint64(1); seed <= 20; seed++ {
		r := newRig(t, rigPlan(2, 4), simroom.Options{Seed: seed}, plainHabit, wetHabit)
		for _, z := range []string{"z1", "z2"} {
			r := newRig(t, rigPlan(2, 4), simroom.Options{Seed: seed}, plainHabit, wetHabit)
			tr := watchTruth(r, z, 3*day)
			l := r.learned(z)
			tr.delay = trueDelay(r.beds[z].long)
			got := []response.Number{l.PointsPerLitre, l.DelayMinutes, l.UptakeDay, l.UptakeNight, l.UptakeDayML, l.UptakeNightML, l.Field}
			want := []float64{tr.perLitre, tr.delay, tr.day, tr.night, tr.dayML, tr.nightML, tr.field}
			line := []float64{}
			for i := range got {
				e := got[i].Value/want[i] - 1
				if got[i].Known() {
					errs[i] = append(errs[i], e)
				}
				line = append(line, math.Round(1000*e)/10, float64(got[i].N))
			}
			t.Log(seed, z, line, len(r.told))
			for _, f := range r.told {
				t.Logf("  %+v", f)
			}
		}
		_ = r
	}
	for i := range errs {
		slices.Sort(errs[i])
		if len(errs[i]) > 0 {
			t.Logf("%d: %.3f .. %.3f", i, errs[i][0], errs[i][len(errs[i])-1])
		}
	}
	require.True(t, true)
}
