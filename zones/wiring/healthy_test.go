package wiring

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// guarded is the bay with a horn on output 9: 25 ft of 18 AWG, 0.05 A held, 0.1 A as it
// pulls in.
func guarded() Room {
	r := bay()
	r.Controllers[0].Healthy = &Healthy{Output: 9, Drives: "horn", LengthM: 25 * foot, Wire: Gauge(18), Holding: 0.05, Inrush: 0.1}
	return r
}

// Its wire is reckoned, cut, labelled and bought like a valve's, with a relay and something
// that sounds. By hand, 18 AWG stranded at 75 °C: 2 x 25 ft x 7.95 ohm a 1000 ft = 0.3975 ohm.
func TestHealthyByHand(t *testing.T) {
	s := Survey(guarded())
	h := s.Controllers[0].Healthy
	require.InEpsilon(t, 0.3975, h.Hot.LoopOhms.value, 4e-3)
	require.InEpsilon(t, 0.03975, h.Hot.InrushDrop.value, 4e-3)
	require.Equal(t, "north/H9", h.Label)
	require.Contains(t, s.Controllers[0].Pieces, Piece{"north/H9", "18 AWG, 2 wires", "north output 9", "relay of the healthy output", Known(25 * foot)})
	require.Contains(t, s.Cuts, Cut{"18 AWG, 2 wires", Known(25 * foot), 1, []string{"north/H9"}})
	require.Contains(t, s.Parts, Part{"relay, 1 change-over contact, coil 24 V a.c.", 1})
	require.Contains(t, s.Parts, Part{"watertight joint of 2 wires at a valve", 2}, "a relay is no valve")
	require.Equal(t, []string{"wet-contact"}, codes(s))
	require.Nil(t, Survey(bay()).Controllers[0].Healthy)
}

// The transformer holds it all along: 6 + 1.2 VA and the step of the valve, 3.6 VA, are
// 10.8 VA. Alone it needs its own inrush, 2.4 VA; a step greater than the valve's counts.
func TestTransformerHoldsTheHealthyOutput(t *testing.T) {
	r := guarded()
	load := Survey(r).Controllers[0].Transformer
	require.Equal(t, []string{"healthy", "east"}, load.Open)
	require.InDelta(t, 10.8, load.Need.value, 1e-9)
	require.Equal(t, "east", load.Opening)
	r.Controllers[0].Healthy.Inrush = 0.3
	load = Survey(r).Controllers[0].Transformer
	require.Equal(t, "healthy", load.Opening)
	require.InDelta(t, 13.2, load.Need.value, 1e-9)
	r.Controllers[0].Valves, r.Controllers[0].Healthy.Inrush = nil, 0.1
	require.InDelta(t, 2.4, Survey(r).Controllers[0].Transformer.Need.value, 1e-9)
	r.Controllers[0].VA = 2
	require.Contains(t, codes(Survey(r)), "transformer-load")
}

// What is doubtful about a valve's wire is so about this one, and is said of it by its name.
func TestFindingsOfTheHealthyOutput(t *testing.T) {
	find := func(change func(*Healthy)) Finding {
		r := guarded()
		change(r.Controllers[0].Healthy)
		for _, f := range Survey(r).Findings {
			if f.Subject == "healthy output" {
				return f
			}
		}
		return Finding{}
	}
	require.Equal(t, "valve-wire", find(func(h *Healthy) { h.Wire = Gauge(20) }).Code)
	require.Equal(t, "valve-drop", find(func(h *Healthy) { h.LengthM, h.Inrush = 380*foot, 0.4 }).Code)
	f := find(func(h *Healthy) { *h = Healthy{Output: 9, LengthM: NotGiven} })
	require.Equal(t, "valve-unknown", f.Code)
	require.Equal(t, "write `length`, `wire`, `holding` of `healthy` into room.yaml", f.Do)
	require.Equal(t, Finding{}, find(func(*Healthy) {}))

	r := guarded()
	r.Controllers[0].Healthy.Holding = 0
	require.Equal(t, []string{"healthy"}, Survey(r).Controllers[0].Transformer.Unknown)
	require.Contains(t, codes(Survey(r)), "transformer-unknown")
}

// The text for a terminal shows it with its steps.
func TestHealthyAsText(t *testing.T) {
	text := Survey(guarded()).String()
	require.Contains(t, text, "    9       north/H9  horn    18 AWG  25 ft ")
	for _, step := range Survey(guarded()).Controllers[0].Healthy.Steps() {
		require.Contains(t, text, step)
	}
	r := guarded()
	r.Controllers[0].Volts, r.Controllers[0].Kind = 0, ""
	require.Contains(t, Survey(r).Parts, Part{"relay, 1 change-over contact, coil for the outputs' voltage", 1})
	r.Controllers[0].Volts, r.Controllers[0].Kind = 12, "dc"
	require.Contains(t, Survey(r).Parts, Part{"relay, 1 change-over contact, coil 12 V d.c.", 1})
}
