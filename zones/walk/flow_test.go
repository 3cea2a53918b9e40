package walk_test

import (
	"testing"
	"time"

	"rillgate/zones"
	"rillgate/zones/simroom"
	"rillgate/zones/walk"

	"github.com/stretchr/testify/require"
)

// metered walks a room of two zones whose outputs are metered; change alters its plan
// after the room was built by it, so that the files and the room differ.
func metered(t *testing.T, valves int, o simroom.Options, change func(p *zones.Plan)) *walk.Result {
	p := roomPlan(2, valves, 2)
	master := zones.Output{Controller: "north", Number: 8}
	if !o.MeterAll {
		p.Supplies[0].Master = &zones.Master{Output: master, Kind: zones.MasterValve, Lead: 2 * time.Second}
		o.Meters = []zones.Output{master}
	}
	o.Seed = 3
	x := newRoom(t, p, o)
	said := *p
	said.Zones = append([]zones.Zone(nil), p.Zones...)
	said.Supplies = append([]zones.Supply(nil), p.Supplies...)
	change(&said)
	x.begin(&said, walk.Ask{})
	return x.run(12 * time.Hour)
}

// A valve under which all probes rise is not as configured while the meter shows other
// than its emitters draw; the verdict says both numbers and the bound. The zone's own meter
// and that of the master are one.
func TestFlowIsHeldAgainstTheEmitters(t *testing.T) {
	lph := func(share float64) func(p *zones.Plan) {
		return func(p *zones.Plan) { p.Zones[0].EmitterLPH *= share }
	}
	for name, c := range map[string]struct {
		change  func(p *zones.Plan)
		verdict walk.Verdict
		because string
	}{
		"as the files say":     {lph(1), walk.AsConfigured, "2 of 2 probes of z1 rose, no other did; 1.59 L"},
		"a fifth less":         {lph(1 / 0.8), walk.AsConfigured, "its emitters draw 2.00 (75 to 130 % of that fits)"},
		"half":                 {lph(2), walk.Unsure, "L/min flow, its emitters draw 3.20 (75 to 130 % of that fits): look for blocked emitters"},
		"half as much again":   {lph(1 / 1.5), walk.Unsure, "its emitters draw 1.07 (75 to 130 % of that fits): look for an open end"},
		"double":               {lph(0.5), walk.Leak, "its emitters draw 0.80 (40 to 160 % of that fits): an open end"},
		"emitters not in file": {func(p *zones.Plan) { p.Zones[0].EmittersEach = 0 }, walk.AsConfigured, "held against nothing: its emitters are not in the files"},
		"more than the supply": {func(p *zones.Plan) { p.Supplies[0].MaxFlowLPH = 60 }, walk.Unsure, "more than the 1.00 L/min that supply feed may give (max_flow)"},
	} {
		for _, all := range []bool{true, false} {
			t.Run(name, func(t *testing.T) {
				r := metered(t, 1, simroom.Options{MeterAll: all}, c.change)
				require.Equal(t, c.verdict, r.Valves[0].Verdict, r.Text())
				require.Contains(t, r.Valves[0].Because, c.because)
				require.Equal(t, c.verdict == walk.AsConfigured, r.Zones[0].Good)
			})
		}
	}
}

// Nobody knows how a zone's emitters are spread over its valves: they are held together.
func TestFlowOfTwoValvesIsHeldTogether(t *testing.T) {
	r := metered(t, 2, simroom.Options{MeterAll: true}, func(*zones.Plan) {})
	require.Equal(t, walk.AsConfigured, r.Valves[0].Verdict, r.Text())
	require.Contains(t, r.Valves[0].Because, "(40 to 160 % of that fits)")
	r = metered(t, 2, simroom.Options{MeterAll: true}, func(p *zones.Plan) { p.Zones[0].EmitterLPH *= 1.5 })
	for _, row := range r.Valves[:2] {
		require.Equal(t, walk.Unsure, row.Verdict, r.Text())
		require.Contains(t, row.Because, "all valves of z1 together: 1.59 L")
	}
	require.Equal(t, walk.AsConfigured, r.Valves[2].Verdict, "the other zone's fit")
}

// Without any probe nothing says where the water goes, whatever a meter shows.
func TestRoomWithoutProbes(t *testing.T) {
	p := roomPlan(2, 1, 0)
	x := newRoom(t, p, simroom.Options{Seed: 1, MeterAll: true})
	x.begin(p, walk.Ask{})
	r := x.run(12 * time.Hour)
	for i := range r.Valves {
		require.Equal(t, walk.Unsure, r.Valves[i].Verdict, r.Text())
		require.Contains(t, r.Valves[i].Because, "has no probe")
		require.False(t, r.Zones[i].Good)
		require.False(t, x.walked(r.Zones[i].Zone))
	}
}

// A cross connection too faint to be sure of one probe is in doubt in the sentence and in
// each cell that it is about, by one number.
func TestFaintCrossFlowSaysOneThing(t *testing.T) {
	p := roomPlan(2, 1, 4)
	x := newRoom(t, p, simroom.Options{Seed: 6, Faults: []simroom.Fault{{Kind: simroom.CrossFlow, Subject: "z1-v0", Other: "z2-v0", Value: 0.25}}})
	x.begin(p, walk.Ask{})
	r := x.run(12 * time.Hour)
	row := r.Valves[0]
	require.Equal(t, walk.Unsure, row.Verdict, r.Text())
	require.Contains(t, row.Because, "the probes of z2 rose a little too, by 0.")
	for k, c := range row.Cells {
		if r.Probes[k].Zone == "z2" {
			require.Equal(t, walk.Doubt, c.Seen, r.Text())
		}
	}
}
