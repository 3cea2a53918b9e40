package wiring

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

const foot = metresPerFoot

// 18 AWG stranded at 75 °C by NEC chapter 9 table 8, 7.95 ohm a 1000 ft: loop and
// drops reckoned from it by hand, V = 2 L R I.
func TestValveDrops(t *testing.T) {
	for feet, row := range map[float64][3]float64{50: {.795, .199, .318}, 100: {1.590, .398, .636}, 175: {2.783, .696, 1.113}, 200: {3.180, .795, 1.272}, 500: {7.950, 1.988, 3.180}} {
		v := Valve{ID: "east", LengthM: feet * foot, Wire: Gauge(18), Holding: 0.25, Inrush: 0.4}
		run := v.run(24)
		require.InEpsilon(t, row[0], run.Hot.LoopOhms.value, 4e-3)
		require.InEpsilon(t, row[1], run.Hot.HoldingDrop.value, 4e-3)
		require.InEpsilon(t, row[2], run.Hot.InrushDrop.value, 4e-3)
		require.InEpsilon(t, 2*feet*6.385*strandedOverSolid/1000, run.Cool.LoopOhms.value, 1e-3)
		require.InEpsilon(t, 377*foot, run.Longest.value, 2e-3, "10 % of 24 V at 0.4 A: 377 ft")
	}
	four := Longest(Gauge(18), 0.4, 4, 75)
	require.InEpsilon(t, 629*foot, four.value, 2e-3, "4 V at 0.4 A: 629 ft")
}

// At its longest run a valve loses exactly what is allowed; drops grow evenly with
// length and current.
func TestValveRunsAreLinear(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 300 {
		w := Gauge(8 + rng.IntN(17))
		if rng.IntN(2) == 0 {
			w = Metric(0.2 + 5*rng.Float64())
		}
		holding := 0.05 + rng.Float64()
		v := Valve{LengthM: 1 + 200*rng.Float64(), Wire: w, Holding: holding, Inrush: holding * (1 + rng.Float64())}
		volts := 12 + 18*rng.Float64()
		run := v.run(volts)
		far, both, more := v, v, v
		far.LengthM = run.Longest.value
		require.InEpsilon(t, AllowedDrop*volts, far.run(volts).Hot.InrushDrop.value, 1e-9)
		both.LengthM *= 3
		require.InEpsilon(t, 3*run.Cool.HoldingDrop.value, both.run(volts).Cool.HoldingDrop.value, 1e-9)
		more.Inrush *= 2
		require.InEpsilon(t, 2*run.Hot.InrushDrop.value, more.run(volts).Hot.InrushDrop.value, 1e-9)
		require.Greater(t, run.Hot.LoopOhms.value, run.Cool.LoopOhms.value)
		if other, ok := v.enough(volts); ok {
			v.Wire = other
			require.LessOrEqual(t, v.run(volts).Hot.InrushDrop.value, AllowedDrop*volts*(1+1e-9))
		}
	}
}

func TestValveOfWhichLittleIsKnown(t *testing.T) {
	run := (&Valve{ID: "x", LengthM: NotGiven, Wire: Gauge(18), Holding: 0.25}).run(24)
	require.False(t, run.Hot.LoopOhms.known)
	require.False(t, run.Hot.InrushDrop.known)
	require.True(t, run.Longest.known, "the wire and the current are enough for it")
	require.Equal(t, Known(0.25), run.Inrush, "inrush is holding where only that is given")
	run = (&Valve{ID: "x", LengthM: 10}).run(0)
	require.Equal(t, RunLoss{}, clear(run.Hot))
	require.False(t, run.Longest.known)
}

// clear takes away what stands in an amount that is not known.
func clear(l RunLoss) RunLoss {
	for _, a := range []*Amount{&l.LoopOhms, &l.HoldingDrop, &l.InrushDrop} {
		if !a.known {
			*a = Amount{}
		}
	}
	return l
}

// Four valves open and one more starting, 0.25 A held and 0.4 A at inrush at 24 V:
// 4 x 6 VA + 9.6 VA = 33.6 VA, with a quarter spare 42 VA. A transformer of 40 VA is
// too small by that rule, one of 50 VA is not.
func TestTransformerByHand(t *testing.T) {
	r := Room{House: Common(), Supplies: []Supply{{"feed", 5}}, Controllers: []Controller{{ID: "north", Volts: 24, Kind: "ac", VA: 40}}}
	for i := range 7 {
		r.Controllers[0].Valves = append(r.Controllers[0].Valves, Valve{ID: string(rune('a' + i)), Output: i, Supply: "feed", LengthM: 1, Wire: Gauge(18), Holding: 0.25, Inrush: 0.4})
	}
	load := Survey(r).Controllers[0].Transformer
	require.InDelta(t, 33.6, load.Need.value, 1e-9)
	require.InDelta(t, 42, load.Wanted.value, 1e-9)
	require.Len(t, load.Open, 5)
	require.Contains(t, codes(Survey(r)), "transformer-spare")
	r.Controllers[0].VA = 50
	require.NotContains(t, codes(Survey(r)), "transformer-spare")
	r.Controllers[0].VA = 33
	require.Contains(t, codes(Survey(r)), "transformer-load")
	require.NotContains(t, codes(Survey(r)), "transformer-spare")
}

func codes(s Sheet) (out []string) {
	for _, f := range s.Findings {
		out = append(out, f.Code)
	}
	return out
}

// The worst load is that of all sets that max_open allows, each with each of its
// valves as the one that opens, tried one by one.
func TestTransformerIsTheWorstOfAll(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for range 200 {
		r := Room{Controllers: []Controller{{ID: "c", Volts: 24}}}
		c := &r.Controllers[0]
		for s := range 1 + rng.IntN(3) {
			id := string(rune('a' + s))
			r.Supplies = append(r.Supplies, Supply{id, 1 + rng.IntN(3)})
			for range rng.IntN(5) {
				c.Valves = append(c.Valves, randomValve(rng, id, false))
			}
			if rng.IntN(2) == 0 {
				c.Valves = append(c.Valves, randomValve(rng, id, true))
			}
		}
		got, want := r.transformer(c), worstOf(&r, c)
		require.Equal(t, len(c.Valves) > 0, got.Need.known)
		if got.Need.known {
			require.InDelta(t, want*24, got.Need.value, 1e-9)
			require.InDelta(t, got.Need.value, got.Holding.value+got.Inrush.value, 1e-9)
		}
	}
}

func randomValve(rng *rand.Rand, supply string, master bool) Valve {
	holding := 0.1 + rng.Float64()
	return Valve{ID: "v", Supply: supply, Master: master, Holding: holding, Inrush: holding + rng.Float64()}
}

func worstOf(r *Room, c *Controller) (most float64) {
	for set := range 1 << len(c.Valves) {
		if !allowed(r, c, set) {
			continue
		}
		amps, step := 0.0, 0.0
		for i, v := range c.Valves {
			if set>>i&1 == 1 {
				amps += v.Holding
				step = max(step, v.Inrush-v.Holding)
			}
		}
		most = max(most, amps+step)
	}
	return most
}

func allowed(r *Room, c *Controller, set int) bool {
	open := map[string]int{}
	for i, v := range c.Valves {
		if set>>i&1 == 1 && !v.Master {
			open[v.Supply]++
		}
	}
	for _, s := range r.Supplies {
		if open[s.ID] > s.MaxOpen {
			return false
		}
	}
	return true
}

// What gives no current comes on top of what is reckoned, and is said.
func TestTransformerWithUnknownValves(t *testing.T) {
	r := Room{House: Common(), Supplies: []Supply{{"feed", 1}}, Controllers: []Controller{{ID: "c", Volts: 24, VA: 8, Valves: []Valve{
		{ID: "a", Supply: "feed", LengthM: 1, Wire: Gauge(18), Holding: 0.25, Inrush: 0.4}, {ID: "m", Supply: "feed", Master: true, LengthM: 1, Wire: Gauge(18)}}}}}
	s := Survey(r)
	require.Equal(t, []string{"m"}, s.Controllers[0].Transformer.Unknown)
	require.InDelta(t, 9.6, s.Controllers[0].Transformer.Need.value, 1e-9)
	require.Contains(t, codes(s), "transformer-unknown")
	require.Contains(t, codes(s), "transformer-load", "already without it too much")
	r.Controllers[0].Valves = r.Controllers[0].Valves[1:]
	s = Survey(r)
	require.False(t, s.Controllers[0].Transformer.Need.known)
	require.Contains(t, s.Controllers[0].Transformer.String(), "not known")
}
