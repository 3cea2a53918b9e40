package simroom

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// The reference day of the project: own derivation from the water balance, exact to
// 0.01 point. 4.0 L of substrate at 60.0 % at the last shot, 2.5 h before lights off;
// 0.100 L/h with lights on, 0.008 L/h off, 12 h dark:
// 0.250 + 0.096 = 0.346 L = 8.65 points, so 51.35 % at lights on.
func TestReferenceDay(t *testing.T) {
	p := testPlan(1, 2)
	p.Zones[0].VolumeML = 4000
	o := still()
	o.Start = at("15:30")
	o.Zones = map[string]ZoneOptions{"z1": {
		StartPercent: 60, UptakeDayLPH: 0.100, UptakeNightLPH: 0.008, EvaporationLPH: -1, FieldPercent: 70, Response: -1,
	}}
	h := newHand(t, newRoom(t, p, o))
	h.to(150 * time.Minute)
	dusk := h.truth("z1").Moisture
	h.to(14*time.Hour + 30*time.Minute)
	dawn := h.truth("z1").Moisture
	require.InDelta(t, 53.75, dusk, 0.01)
	require.InDelta(t, 51.35, dawn, 0.01)
	require.InDelta(t, 2.40, dusk-dawn, 0.01)
	require.InDelta(t, 14.42, (60-dawn)/60*100, 0.01) // relative, in %

	// Four shots of 2 % (80 mL each, 320 mL in all) bring 51.35 to 59.35 but for what
	// is taken up meanwhile.
	for i := 0; i < 4; i++ {
		h.shot(1, string(rune('a'+i)), 72*time.Second) // 80 mL at 4 L/h
	}
	x := h.truth("z1")
	require.InDelta(t, 0.320*48, x.Applied, 1e-9)
	require.InDelta(t, 59.35, x.Moisture+100*(x.Taken/48-0.346)/4, 0.01)
	require.Zero(t, x.Drained)
	require.InDelta(t, 0, x.Imbalance(), 1e-9)
}

// A shot of p % raises the moisture by p points when nothing drains or is taken up:
// 5 % of 6.5 L is 325 mL, 585 s through one emitter of 2.0 L/h (own derivation).
func TestShotRaisesByItsPercent(t *testing.T) {
	p := testPlan(1, 1)
	p.Zones[0].EmittersEach = 1
	o := still()
	o.Zones = map[string]ZoneOptions{"z1": {StartPercent: 50, UptakeDayLPH: -1, UptakeNightLPH: -1, EvaporationLPH: -1}}
	h := newHand(t, newRoom(t, p, o))
	h.shot(1, "a", 585*time.Second)
	require.InDelta(t, 55, h.truth("z1").Moisture, 1e-9)
	require.InDelta(t, 55, h.truth("z1").Spots[0].Seen, 1e-9)
}

// Above the field level the surplus drains away with its time constant: after one,
// 1/e is left (own derivation).
func TestDrainage(t *testing.T) {
	o := still()
	o.Zones = map[string]ZoneOptions{"z1": {
		StartPercent: 73, FieldPercent: 63, UptakeDayLPH: -1, UptakeNightLPH: -1, EvaporationLPH: -1, DrainTime: 10 * time.Minute,
	}}
	h := newHand(t, newRoom(t, testPlan(1, 0), o))
	h.to(10 * time.Minute)
	require.InDelta(t, 63+10/math.E, h.truth("z1").Moisture, 1e-9)
	h.to(5 * time.Hour)
	require.InDelta(t, 63, h.truth("z1").Moisture, 1e-9)
	require.InDelta(t, 0.65*48, h.truth("z1").Drained, 1e-9)
}

func TestFullSubstrateOverflows(t *testing.T) {
	o := still()
	o.Zones = map[string]ZoneOptions{"z1": {StartPercent: 60, DrainTime: 100 * time.Hour}}
	o.Faults = []Fault{{Kind: BedLeak, Subject: "z1", Value: 500}}
	h := newHand(t, newRoom(t, testPlan(1, 1), o))
	h.to(6 * time.Hour)
	x := h.truth("z1")
	require.InDelta(t, 88, x.Moisture, 1e-9)
	require.InDelta(t, 3000, x.Leaked, 1e-6)
	require.InDelta(t, 0, x.Imbalance(), 1e-9*x.Leaked)
}

func TestNoWaterIsTakenFromADryBed(t *testing.T) {
	o := still()
	h := newHand(t, newRoom(t, testPlan(1, 1), o))
	for h.r.Now() < 40*24*time.Hour {
		h.pass(time.Hour)
	}
	x := h.truth("z1")
	require.Greater(t, x.Moisture, 8.0)
	require.Less(t, x.Moisture, 10.0)
	require.InDelta(t, 0, x.Imbalance(), 1e-9)
}

// The exact solution against plain small steps (fourth-order Runge-Kutta on the same
// differential equation), over beds that cross every edge.
func TestFlowAgainstSmallSteps(t *testing.T) {
	rnd := stream{x: 7}
	for i := 0; i < 120; i++ {
		z := ZoneOptions{StartPercent: 10 + 75*rnd.unit(), FieldPercent: 63, SatPercent: 88, DryPercent: 8, StressPercent: 22,
			DrainTime: time.Duration(60+1200*rnd.unit()) * time.Second, Response: 0.02 * rnd.unit()}
		s := makeSoil(&z, 0.5+8*rnd.unit())
		f := flows{uptake: s.volume * 1e-5 * rnd.unit(), evap: s.volume * 1e-6 * rnd.unit()}
		if i%2 == 0 {
			f.in = s.volume * 2e-4 * rnd.unit()
		}
		b := bucket{water: z.StartPercent / 100 * s.volume}
		w := b.water
		const seconds, step = 4000, 0.25
		s.flow(&b, f, seconds, 180)
		for k := 0; k < seconds/step; k++ {
			w = math.Min(rungeKutta(&s, f, w, step), s.full)
		}
		require.InDelta(t, w, b.water, 1e-6*s.volume, "bed %d", i)
		require.InDelta(t, 0, b.applied-b.taken-b.evaporated-b.drained-(b.water-z.StartPercent/100*s.volume), 1e-12, "bed %d", i)
	}
}

// rungeKutta is written from the differential equation alone.
func rungeKutta(s *soil, f flows, w, h float64) float64 {
	rate := func(w float64) float64 {
		use := 1 + s.response*(w-s.level)
		if w < s.stress {
			use = (1 + s.response*(s.stress-s.level)) * (w - s.dry) / (s.stress - s.dry)
		}
		return f.in - (f.uptake+f.evap)*use - math.Max(0, w-s.field)/s.drainTime
	}
	k1 := rate(w)
	k2 := rate(w + h/2*k1)
	k3 := rate(w + h/2*k2)
	k4 := rate(w + h*k3)
	return w + h/6*(k1+2*k2+2*k3+k4)
}

// The balance of a week with shots, leaks, drains and blocked emitters.
func TestMassBalance(t *testing.T) {
	for seed := uint64(1); seed <= 3; seed++ {
		p := testPlan(3, 7)
		p.Zones[1].Plants = 4 // fewer plants than probes
		p.Zones[2].Valves = []string{"z2", "z3"}
		o := Options{Seed: seed, EmitterCV: 0.2, Faults: []Fault{
			{Kind: EmittersBlocked, Subject: "z1-3", At: time.Hour, For: 20 * time.Hour, Value: 0.1},
			{Kind: BedLeak, Subject: "z2", At: 30 * time.Hour, For: time.Hour, Value: 12},
			{Kind: ValveStuckOpen, Subject: "z3", At: 50 * time.Hour, For: 3 * time.Hour},
		}}
		h := newHand(t, newRoom(t, p, o))
		rnd := stream{x: seed}
		for h.r.Now() < 7*24*time.Hour {
			out := 1 + int(rnd.next()%3)
			h.shot(out, h.r.Now().String(), time.Duration(1+rnd.next()%600)*time.Second)
			h.pass(time.Duration(rnd.next()%(3*3600)) * time.Second)
		}
		for _, z := range []string{"z1", "z2", "z3"} {
			x := h.truth(z)
			require.Greater(t, x.Applied, 10.0)
			require.InDelta(t, 0, x.Imbalance(), 1e-9, "zone %s seed %d", z, seed)
		}
	}
}
