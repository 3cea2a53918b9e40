package wiring

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// The room of the manual: a chain of two probes on 60 ft, the second 12 ft on, each
// with 5 m of its own.
func bay() Room {
	return Room{ID: "bay-2", Name: "Bay 2", US: true, House: Common(), Supplies: []Supply{{"feed", 1}},
		Controllers: []Controller{{ID: "north", Volts: 24, Kind: "ac", VA: 40,
			Terminals: []Terminal{{Number: 1, HomeRunM: 60 * foot, Cable: Gauge(22), Probes: []Probe{
				{ID: "e1", Address: "0", Zone: "east", Label: "East 1", TailM: 5}, {ID: "e2", Address: "1", Zone: "east", LeadM: 12 * foot, TailM: 5}}}},
			Valves: []Valve{{ID: "east", Output: 1, Supply: "feed", Zone: "east", LengthM: 80 * foot, Wire: Gauge(18), Holding: 0.25, Inrush: 0.4}}}},
		Zones: []Zone{{"east", "East bench", 180 * squareMetresPerSqft, 2}}}
}

// By hand: 60 + 12 ft and 5 m are 88.4 ft; two boxes, of 3 and 2 entries; 72 ft in
// two pieces.
func TestChainByHand(t *testing.T) {
	s := Survey(bay())
	c := s.Controllers[0].Terminals[0]
	require.Equal(t, "e2", c.Farthest)
	require.InDelta(t, 72*foot+5, c.LongestM.value, 1e-9)
	require.InDelta(t, 72*foot, c.Bought.value, 1e-9)
	require.InDelta(t, 10, c.Tails.value, 1e-9)
	require.Equal(t, []Box{{"north/1/B1", 3, []string{"e1"}}, {"north/1/B2", 2, []string{"e2"}}}, c.Boxes)
	require.Equal(t, []Piece{{"north/1/W1", "22 AWG, 3 wires", "north/1", "north/1/B1", Known(60 * foot)},
		{"north/1/W2", "22 AWG, 3 wires", "north/1/B1", "north/1/B2", Known(12 * foot)}}, c.Pieces)
	require.Equal(t, []Part{{"joint of 2 wires", 3}, {"joint of 3 wires", 3}, {"junction box, 2 cable entries", 1}, {"junction box, 3 cable entries", 1},
		{"plug or block of 3 ways for a terminal", 1}, {"watertight joint of 2 wires at a valve", 2}}, s.Parts)
	require.Equal(t, []string{"wet-contact"}, codes(s), "24 V in a wet room is the one thing to say")
}

// A star of three: all leads from one box, one without a lead of its own.
func TestStarByHand(t *testing.T) {
	c := Terminal{Number: 2, Star: true, HomeRunM: 15, Cable: Metric(0.5), Probes: []Probe{{ID: "a", LeadM: 2, TailM: 5}, {ID: "b", LeadM: 0, TailM: 5}, {ID: "c", LeadM: 6, TailM: 5}}}
	s := c.sheet("n")
	require.Equal(t, []Box{{"n/2/B1", 4, []string{"a", "b", "c"}}}, s.Boxes)
	require.Equal(t, "c", s.Farthest)
	require.InDelta(t, 26, s.LongestM.value, 1e-9)
	require.InDelta(t, 23, s.Bought.value, 1e-9)
	require.Equal(t, 2, s.inline)
	var n counter
	n.addTerminal(&s)
	require.Equal(t, []Part{{"joint box at a lead's end, 2 cable entries", 2}, {"joint of 2 wires", 6}, {"joint of 4 wires", 3}, {"junction box, 4 cable entries", 1},
		{"plug or block of 3 ways for a terminal", 1}}, sortParts(n.parts))
}

// 0.5 V on the ground conductor of 175 ft of solid 22 AWG at 20 °C is 177 mA, by its
// 16.14 ohm a 1000 ft; stranded, it is less by 2.4 %.
func TestGroundDropByHand(t *testing.T) {
	c := Terminal{HomeRunM: 175 * foot, Cable: Gauge(22), DrawA: 0.177, Probes: []Probe{{ID: "a"}}}
	s := c.sheet("n")
	require.InEpsilon(t, 0.5*strandedOverSolid, s.Cool.GroundDrop.value, 1e-3)
	require.InEpsilon(t, 12-2*0.5*strandedOverSolid, s.Cool.ProbeVolts.value, 1e-3)
}

func randomTerminal(rng *rand.Rand) Terminal {
	t := Terminal{Number: 1 + rng.IntN(4), Star: rng.IntN(2) == 0, HomeRunM: 30 * rng.Float64(), Cable: Gauge(16 + 2*rng.IntN(5)), Volts: 12}
	for i := range 1 + rng.IntN(10) {
		lead := float64(rng.IntN(4)) * rng.Float64()
		t.Probes = append(t.Probes, Probe{ID: fmt.Sprint("p", i), LeadM: lead, TailM: 5 * rng.Float64(), DrawA: 0.001 + 0.05*rng.Float64()})
	}
	return t
}

// common gives the cable that the ways to two probes share, m, reckoned from the
// lengths alone: home run and the leads before both in a chain, the home run in a star.
func common(t *Terminal, i, j int) float64 {
	sum := t.HomeRunM
	if t.Star {
		return sum
	}
	for k := range min(i, j) + 1 {
		sum += t.Probes[k].LeadM
	}
	return sum
}

// Runs add up from what was written; the voltage at a probe is by superposition: each
// probe's current falls over what its way has in common with this one's.
func TestRunsAndDropsOfAnyTerminal(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for range 300 {
		c := randomTerminal(rng)
		s := c.sheet("n")
		r, tail := ohms(t, c.Cable, 75), ohms(t, c.tailWire(), 75)
		longest, lowest := 0.0, c.Volts
		for i := range c.Probes {
			run, drop := common(&c, i, i)+c.Probes[i].TailM, tail*c.Probes[i].TailM*c.Probes[i].DrawA
			if c.Star {
				run += c.Probes[i].LeadM
				drop += r * c.Probes[i].LeadM * c.Probes[i].DrawA
			}
			for j := range c.Probes {
				drop += r * common(&c, i, j) * c.Probes[j].DrawA
			}
			require.InDelta(t, run, s.Probes[i].Run.value, 1e-9)
			require.InDelta(t, drop, s.Probes[i].Hot.GroundDrop.value, 1e-9)
			require.InDelta(t, c.Volts-2*drop, s.Probes[i].Hot.ProbeVolts.value, 1e-9)
			longest, lowest = max(longest, run), min(lowest, c.Volts-2*drop)
		}
		require.InDelta(t, longest, s.LongestM.value, 1e-9)
		require.InDelta(t, lowest, s.Hot.ProbeVolts.value, 1e-9)
		requirePartsFit(t, &c, &s)
	}
}

// requirePartsFit: what is cut is what was written; every end of a cable is at the
// controller, in a box, at a joint or at a probe, none is left over.
func requirePartsFit(t *testing.T, c *Terminal, s *TerminalSheet) {
	t.Helper()
	bought := c.HomeRunM
	ends := 0
	for i, p := range c.Probes {
		bought += p.LeadM
		ends += boolInt(!s.Probes[i].Apart && p.TailM > 0)
	}
	cut := 0.0
	for _, p := range s.Pieces {
		m, known := p.M.Value()
		require.True(t, known)
		require.Positive(t, m)
		cut += m
	}
	require.InDelta(t, bought, cut, 1e-9)
	require.InDelta(t, bought, s.Bought.value, 1e-9)
	entries := 0
	for _, b := range s.Boxes {
		require.LessOrEqual(t, 1, b.Entries)
		entries += b.Entries
	}
	leads := len(s.Pieces) - 1
	want := 1 + leads + ends // the home run, leads leaving a box, tails
	if !c.Star {
		want += leads // and arriving at the next
	}
	require.Equal(t, want, entries)
}

// Twice the current is twice the drop, twice the lengths too; a thicker cable drops less.
func TestDropsAreLinear(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for range 100 {
		c := randomTerminal(rng)
		drop := c.sheet("n").Hot.GroundDrop.value
		double, long, thick := c, c, c
		double.Probes, long.Probes = append([]Probe(nil), c.Probes...), append([]Probe(nil), c.Probes...)
		long.HomeRunM *= 2
		for i := range c.Probes {
			double.Probes[i].DrawA *= 2
			long.Probes[i].LeadM *= 2
			long.Probes[i].TailM *= 2
		}
		thick.Cable = Gauge(c.Cable.AWG - 2)
		require.InDelta(t, 2*drop, double.sheet("n").Hot.GroundDrop.value, 1e-9)
		require.InDelta(t, 2*drop, long.sheet("n").Hot.GroundDrop.value, 1e-9)
		require.LessOrEqual(t, thick.sheet("n").Hot.GroundDrop.value, drop)
	}
}

// A length that is not given makes what hangs on it unknown, and nothing else.
func TestUnknownLengths(t *testing.T) {
	base := func() Terminal {
		return Terminal{HomeRunM: 10, Cable: Gauge(22), Probes: []Probe{{ID: "a", TailM: 5}, {ID: "b", LeadM: 3, TailM: 5}, {ID: "c", LeadM: 3, TailM: 5}}}
	}
	known := func(c Terminal) (out []bool) {
		for i := range c.Probes {
			out = append(out, c.Run(i).known)
		}
		return out
	}
	require.Equal(t, []bool{true, true, true}, known(base()))
	c := base()
	c.HomeRunM = NotGiven
	require.Equal(t, []bool{false, false, false}, known(c))
	c = base()
	c.Probes[1].LeadM = NotGiven
	require.Equal(t, []bool{true, false, false}, known(c), "the way on goes through it")
	c.Star = true
	require.Equal(t, []bool{true, false, true}, known(c), "each has its own")
	require.Equal(t, 4, c.sheet("n").Boxes[0].Entries, "the home run and one cable a probe")
	c = base()
	c.Probes[2].TailM = NotGiven
	s := c.sheet("n")
	require.Equal(t, []bool{true, true, false}, known(c))
	require.False(t, s.LongestM.known)
	require.Empty(t, s.Farthest)
	require.False(t, s.Hot.ProbeVolts.known)
	require.True(t, s.Bought.known, "probes bring their own cables")
	c = base()
	c.Cable = Wire{}
	require.True(t, c.sheet("n").LongestM.known)
	require.False(t, c.sheet("n").Hot.GroundDrop.known)
	c.Probes[0].LeadM = NotGiven
	require.Equal(t, []bool{false, false, false}, known(c))
	require.Len(t, c.sheet("n").Boxes, 3)
}
