package simroom

import (
	"math"
	"testing"
	"time"

	"rillgate/zones"

	"github.com/stretchr/testify/require"
)

func TestReadingsArePeriodicAndQuantised(t *testing.T) {
	h := newHand(t, newRoom(t, testPlan(1, 3), Options{Seed: 3, Start: at("00:00")}))
	all := readings(h.to(time.Hour), "1")
	require.Len(t, all, 60)
	for i, m := range all {
		require.True(t, m.HasMoisture && m.HasTime && !m.Retained)
		require.True(t, math.IsNaN(m.Permittivity))
		require.Zero(t, m.Moisture%100, "steps of 0.1 %%")
		require.InDelta(t, 20, m.Temperature, 4)
		require.InDelta(t, 1.26, m.EC, 0.5)
		if i > 0 {
			require.InDelta(t, 60, (m.At - all[i-1].At).Seconds(), 2.01)
		}
	}
	require.Equal(t, at("00:00").Unix(), int64(all[0].At.Seconds())/3600*3600)
	require.Equal(t, zones.Place{Controller: "north", Terminal: 1, Address: "1"}, all[0].Place)
}

func TestReadingsWithoutStampsAndWithSerials(t *testing.T) {
	o := still()
	o.NoStamps, o.Serials = true, true
	m := readings(newHand(t, newRoom(t, testPlan(1, 1), o)).to(time.Minute), "0")[0]
	require.False(t, m.HasTime)
	require.Equal(t, "sim-z1-0", m.Serial)
}

// A probe follows its plant with a lag: one time constant after a step it has seen 63 %
// of it (own derivation).
func TestProbeLags(t *testing.T) {
	o := still()
	o.ProbeLag = 5 * time.Minute
	o.Zones = map[string]ZoneOptions{"z1": {StartPercent: 50, UptakeNightLPH: -1, EvaporationLPH: -1}}
	h := newHand(t, newRoom(t, testPlan(1, 1), o))
	h.shot(1, "a", time.Second) // as good as a step
	step := h.truth("z1").Spots[0].Moisture - 50
	h.pass(5 * time.Minute)
	require.InDelta(t, 1-1/math.E, (h.truth("z1").Spots[0].Seen-50)/step, 0.002)
}

func TestEmittersDifferAsAsked(t *testing.T) {
	p := testPlan(40, 25)
	r := newRoom(t, p, Options{Seed: 5, EmitterCV: 0.1})
	var n, sum, squares float64
	for _, z := range r.zones {
		x, _ := r.Truth(z.plan.ID)
		for _, s := range x.Spots {
			n, sum, squares = n+1, sum+s.Emitter, squares+s.Emitter*s.Emitter
		}
	}
	mean := sum / n
	require.InDelta(t, 1, mean, 0.012)
	require.InDelta(t, 0.1, math.Sqrt(squares/n-mean*mean)/mean, 0.01)
}

// The same seed gives the same messages, however time is cut into steps; another seed
// gives others.
func TestDeterminism(t *testing.T) {
	run := func(seed uint64, step time.Duration) (all []zones.Level, stamps []time.Duration) {
		h := newHand(t, newRoom(t, testPlan(2, 3), Options{Seed: seed, Faults: []Fault{{Kind: ProbeLost, Subject: "z1-2", At: time.Hour, For: time.Hour}}}))
		for h.r.Now() < 4*time.Hour {
			for _, o := range h.pass(step) {
				if m, ok := o.Event.(*zones.Reading); ok {
					all, stamps = append(all, m.Moisture), append(stamps, o.At)
				}
			}
		}
		return all, stamps
	}
	a, at := run(1, time.Second)
	b, bt := run(1, time.Hour)
	c, _ := run(2, time.Hour)
	require.Equal(t, a, b)
	require.Equal(t, at, bt)
	require.NotEqual(t, a, c)
}

// A fault of one probe shifts nothing that the others say.
func TestFaultShiftsNoOther(t *testing.T) {
	run := func(f ...Fault) []zones.Level {
		h := newHand(t, newRoom(t, testPlan(1, 3), Options{Seed: 4, Faults: f}))
		var all []zones.Level
		for _, m := range readings(h.to(3*time.Hour), "1") {
			all = append(all, m.Moisture)
		}
		return all
	}
	require.Equal(t, run(), run(Fault{Kind: ProbeLost, Subject: "z1-0", At: time.Hour}))
}

func TestMessagesMayBeKept(t *testing.T) {
	r := newRoom(t, testPlan(1, 1), Options{})
	var kept []*zones.Report
	var uptimes []time.Duration
	for i := 0; i < 2000; i++ {
		for _, o := range r.Advance(r.Now() + 5*time.Second) {
			if m, ok := o.Event.(*zones.Report); ok {
				kept, uptimes = append(kept, m), append(uptimes, m.Uptime)
			}
		}
	}
	for i, m := range kept {
		require.Equal(t, uptimes[i], m.Uptime)
		require.Len(t, m.Outputs, 1)
	}
}
