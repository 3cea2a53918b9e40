package zones

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// No two probes bear one id: where the files name an id that the register or a stranger
// bears, they lead.
func TestIDThatTheFilesTake(t *testing.T) {
	for name, assigned := range map[string]bool{"of the register": true, "of a stranger": false} {
		t.Run(name, func(t *testing.T) {
			g := newRig(t, benchPlan(1, 2))
			at, other := Place{"north", 9, "b"}, Place{"north", 9, "c"}
			g.says(at, 44, "")
			if assigned {
				require.True(t, g.order(Order{Kind: OrderAssign, Subject: "north-9-b", Zone: "a"}).Accepted)
			}
			p := benchPlan(1, 2)
			p.Probes = append(p.Probes, Probe{ID: "north-9-b", Place: other, Zone: "a"})
			g.step(&NewPlan{p})
			require.Equal(t, other, g.probe("north-9-b").Place)
			require.Nil(t, g.room.probeBy[at], "it waters nothing under another's id")
			require.Equal(t, 3, g.zone("a").Assigned)
			g.says(at, 44, "")
			require.Equal(t, at, g.probe("north-9-b-2").Place, "and is met anew as a stranger")
			require.Empty(t, g.probe("north-9-b-2").Zone)
			require.Equal(t, 3, g.zone("a").Assigned)
		})
	}
}

// An exchange moves the probe that it was of. A line with another id at the old place is
// another probe, and stays where the files say.
func TestExchangeMovesNoOtherProbe(t *testing.T) {
	g := newRig(t, benchPlan(1, 3))
	was, is := Place{"north", 1, "0"}, Place{"north", 1, "7"}
	g.says(is, 44, "")
	require.True(t, g.order(Order{Kind: OrderExchange, Subject: "a0", With: "north-1-7"}).Accepted)
	require.Equal(t, is, g.probe("a0").Place)
	g.step(&NewPlan{planWith(func(p *Plan) { p.Probes[0].ID = "x0" })})
	require.Equal(t, was, g.probe("x0").Place)
	require.Equal(t, "a", g.probe("x0").Zone)
	require.Equal(t, 3, g.zone("a").Assigned, "the old id is no fourth")
}

// A register whose key is no place moves no probe, and no start fails on it.
func TestRegisterOfNoPlace(t *testing.T) {
	m := NewMemory()
	for _, key := range []string{"", "north", "north/x/7"} {
		m.Probes[key] = &ProbeMemory{ID: "a0", Zone: "a", Instead: "north/1/0"}
	}
	g := rawRig(t, benchPlan(1, 3), m)
	require.Equal(t, Place{"north", 1, "0"}, g.probe("a0").Place)
	require.Equal(t, 3, g.zone("a").Assigned)
}

// Valves whose zone is unknown teach nothing about dryness: two zones without any do not
// take each other's time.
func TestDryTimeFollowsTheValves(t *testing.T) {
	dry := dryState{setUp: true, refused: 42}
	for name, c := range map[string]struct {
		valves []string
		want   dryState
	}{
		"the same valve": {[]string{"a"}, dry},
		"another valve":  {[]string{"b"}, dryState{}},
		"none":           {nil, dryState{}},
	} {
		t.Run(name, func(t *testing.T) {
			p := benchPlan(2, 1)
			p.Zones = p.Zones[:1]
			p.Zones[0].Valves = []string{"a"}
			if name == "none" {
				p.Zones[0].Valves = nil
			}
			g := rawRig(t, p, NewMemory())
			old := map[string]*zone{"a": g.room.zoneBy["a"]}
			old["a"].dry = dry
			require.Equal(t, c.want, dryOf(old, outputsOf(p, &Zone{Valves: c.valves})))
		})
	}
}
