package simroom

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A valve on another's output runs with it, and its own output moves nothing.
func TestOneOutput(t *testing.T) {
	o := still()
	o.MeterAll = true
	o.Faults = []Fault{{Kind: OneOutput, Subject: "z1", Other: "z2", For: time.Hour}}
	h := newHand(t, newRoom(t, testPlan(2, 1), o))
	h.shot(1, "a", time.Minute)
	require.Zero(t, h.truth("z1").Applied)
	h.shot(2, "b", time.Minute)
	require.InDelta(t, 3.2, h.truth("z1").Applied, 1e-9)
	require.InDelta(t, 3.2, h.truth("z2").Applied, 1e-9)
	h.to(time.Hour)
	h.shot(1, "c", time.Minute)
	require.InDelta(t, 6.4, h.truth("z1").Applied, 1e-9)
	require.InDelta(t, 3.2, h.truth("z2").Applied, 1e-9)
}

// A cross connection brings a share of one valve's water to the other bed too, never the
// other way, and the valve's meter counts it.
func TestCrossFlow(t *testing.T) {
	o := still()
	o.MeterAll = true
	o.Faults = []Fault{{Kind: CrossFlow, Subject: "z1", Other: "z2", Value: 0.25}}
	h := newHand(t, newRoom(t, testPlan(2, 1), o))
	require.Equal(t, Acted, h.open(1, "a", time.Minute))
	h.pass(30 * time.Second)
	require.InDelta(t, 3.2*1.25, h.last.Outputs[0].FlowLPM, 1e-9)
	h.pass(time.Minute)
	require.InDelta(t, 3.2, h.truth("z1").Applied, 1e-9)
	require.InDelta(t, 0.8, h.truth("z2").Applied, 1e-9)
	h.shot(2, "b", time.Minute)
	require.InDelta(t, 3.2, h.truth("z1").Applied, 1e-9)
}

// A misplaced probe reads the bed of the other; the other stays where it is.
func TestProbeMisplaced(t *testing.T) {
	o := still()
	o.Zones = map[string]ZoneOptions{"z1": {StartPercent: 40}, "z2": {StartPercent: 60}}
	o.Faults = []Fault{{Kind: ProbeMisplaced, Subject: "z1-0", Other: "z2-0"}}
	h := newHand(t, newRoom(t, testPlan(2, 1), o))
	for _, m := range readings(h.to(2*time.Minute), "0") {
		require.InDelta(t, 60, m.Moisture.Float(), 0.5, "at %s", m.Place)
	}
}
