package zones

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// walkPlan has one zone of two valves and two probes, which wants no water.
func walkPlan() *Plan {
	p := respondPlan()
	p.Zones[0].Schedule.Windows[0].Below = 1000
	p.Zones[0].RequireWalk = true
	p.Zones[0].EmittersEach, p.Zones[0].EmitterLPH, p.Zones[0].VolumeML = 2, 2, 6500
	p.Supplies[0].MaxOpen = 2
	p.Valves = append(p.Valves, Valve{ID: "second", Output: Output{"north", 7}, Supply: p.Supplies[0].ID})
	p.Zones[0].Valves = append(p.Zones[0].Valves, "second")
	return p
}

// A good walk is of outputs and places, not of names: a zone that is renamed stays
// walked, one whose probe or valve sits elsewhere does not, and what was walked once
// counts again when it is put back.
func TestWiringOfAWalk(t *testing.T) {
	g := newRig(t, walkPlan())
	id := g.room.plan.Zones[0].ID
	require.Contains(t, g.zone(id).NotWalked, "no walk has shown")
	require.True(t, g.alarmed(NotWalked, id))
	mark := g.zone(id).Wiring
	a := g.order(Order{ID: "o1", Kind: OrderWalkAccept, Zone: id, Subject: mark + "0"})
	require.Equal(t, []any{false, NotWalked}, []any{a.Accepted, a.Reason})
	require.True(t, g.order(Order{ID: "o2", Kind: OrderWalkAccept, Zone: id, Subject: mark}).Accepted)
	require.Empty(t, g.zone(id).NotWalked)
	require.NotNil(t, g.zone(id).WalkedAt)
	require.False(t, g.alarmed(NotWalked, id))

	for what, change := range map[string]func(p *Plan){
		"a probe at another address": func(p *Plan) { p.Probes[0].Place.Address = "9" },
		"a probe more": func(p *Plan) {
			p.Probes = append(p.Probes, Probe{ID: "x", Zone: id, Place: Place{"north", 5, "5"}})
		},
		"a probe less":              func(p *Plan) { p.Probes = p.Probes[1:] },
		"a valve on another output": func(p *Plan) { p.Valves[0].Output.Number = 6 },
		"a valve less":              func(p *Plan) { p.Zones[0].Valves = p.Zones[0].Valves[:1] },
		"a master": func(p *Plan) {
			p.Supplies[0].Master = &Master{Output: Output{"north", 8}, Kind: MasterValve}
		},
	} {
		p := walkPlan()
		change(p)
		g.step(&NewPlan{Plan: p})
		require.Contains(t, g.zone(id).NotWalked, "has changed since its walk of 2027-03-01", what)
		require.True(t, g.alarmed(NotWalked, id), what)
		g.step(&NewPlan{Plan: walkPlan()})
		require.Empty(t, g.zone(id).NotWalked, what)
	}
	p := walkPlan()
	p.Zones[0].ID = "renamed"
	for i := range p.Probes {
		p.Probes[i].Zone, p.Probes[i].ID = "renamed", p.Probes[i].ID+"-new"
	}
	g.step(&NewPlan{Plan: p})
	require.Empty(t, g.zone("renamed").NotWalked)
}

// A walk opens one valve of a zone, charges that one, and gives its share of the water.
func TestWalkOpensOneValve(t *testing.T) {
	g := newRig(t, walkPlan())
	z := g.room.zones[0]
	a := g.order(Order{ID: "o1", Kind: OrderWalk, Zone: z.id})
	require.Contains(t, a.Because, "has 2 valves: name the one to open")
	require.False(t, g.order(Order{ID: "o2", Kind: OrderWalk, Zone: z.id, Subject: "third"}).Accepted)
	a = g.order(Order{ID: "o3", Kind: OrderWalk, Subject: "second"})
	require.True(t, a.Accepted, a.Because)
	got := g.run(3*time.Minute, 45)
	require.NotEmpty(t, g.commands(got, false))
	for _, c := range g.commands(g.got, true) {
		require.Equal(t, "second", c.Valve)
	}
	i := slices.IndexFunc(z.outs, func(o *output) bool { return o.valve == "second" })
	require.Len(t, z.outs[i].mem.Charges, 1)
	require.Empty(t, z.outs[1-i].mem.Charges)
	c := z.outs[i].mem.Charges[0]
	require.Equal(t, Walk, c.Kind)
	require.InDelta(t, z.cfg.FlowLPH()*c.Amount.Hours()/2, c.Litres, 1e-9)
	require.Equal(t, z.walkLength(), 175500*time.Millisecond, "3 % of 6.5 L at 4 L/h")
}

// Of two outputs on one unrenewed grant, the run waits for both to close by themselves.
func TestUnrenewedGrant(t *testing.T) {
	p := walkPlan()
	p.Supplies[0].Master = &Master{Output: Output{"north", 8}, Kind: MasterValve, Lead: 2 * time.Second}
	g := newRig(t, p)
	require.True(t, g.order(Order{ID: "o1", Kind: OrderWalkCut, Subject: "second"}).Accepted)
	g.run(28*time.Second, 45)
	n := len(g.commands(g.got, true))
	g.obey = false // what is not renewed is only watched
	g.run(3*time.Second, 45)
	require.Len(t, g.commands(g.got, true), n, "no renewal")
	g.open[Output{"north", 8}] = false
	got := g.run(time.Second, 45)
	require.Empty(t, g.commands(got, false), "the valve is still open")
	g.open[Output{"north", 7}] = false
	got = g.run(2*time.Second, 45)
	require.NotEmpty(t, g.commands(got, false))
	require.NotNil(t, g.room.zones[0])
}

// An output that does not close by itself is told to, soon after its grant ran out.
func TestUnrenewedGrantThatNobodyEnds(t *testing.T) {
	g := newRig(t, walkPlan())
	require.True(t, g.order(Order{ID: "o1", Kind: OrderWalkCut, Subject: "second"}).Accepted)
	got := g.run(32*time.Second, 45)
	require.Empty(t, g.commands(got, false))
	got = g.run(2*time.Second, 45)
	require.NotEmpty(t, g.commands(got, false))
	g.run(time.Minute, 45)
	require.False(t, g.alarmed(ValveMismatch, g.room.zones[0].id))
}
