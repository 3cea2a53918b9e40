package zones

import (
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

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

// A zone that is not due says that a walk holds its window, until the walk ends.
func TestAWalkIsToldOfAZoneThatIsNotDue(t *testing.T) {
	p := walkPlan()
	p.Zones[0].RequireWalk = false
	g := newRig(t, p)
	id := p.Zones[0].ID
	g.run(time.Minute, 45)
	require.NotContains(t, g.zone(id).Because, "walked")
	require.True(t, g.order(Order{ID: "o1", Kind: OrderWalk}).Accepted)
	require.Regexp(t, "waters under 1.0 %; the room is being walked, and windows wait", g.zone(id).Because)
	g.run(walkQuiet+time.Second, 45)
	require.NotContains(t, g.zone(id).Because, "walked")
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

// What names no valve, or no length, opens none.
func TestWalksThatAreRefused(t *testing.T) {
	for name, c := range map[string]struct {
		order Order
		words string // "" = it opens
	}{
		"a grant of nothing":        {Order{Kind: OrderWalkCut}, `no zone ""`},
		"a zone that is none":       {Order{Kind: OrderWalk, Zone: "z"}, `no zone "z"`},
		"another zone's valve":      {Order{Kind: OrderWalk, Zone: "z", Subject: "second"}, `no zone has a valve "second"`},
		"the zone's valve":          {Order{Kind: OrderWalk, Zone: "a", Subject: "second"}, ""},
		"a length under none":       {Order{Kind: OrderWalk, Subject: "second", For: -time.Second}, "a length over zero"},
		"a second":                  {Order{Kind: OrderWalk, Subject: "second", For: time.Second}, ""},
		"as long as a run may be":   {Order{Kind: OrderWalk, Subject: "second", For: 6 * time.Minute}, ""},
		"longer than a run may be":  {Order{Kind: OrderWalk, Subject: "second", For: 6*time.Minute + 1}, "max_run"},
		"a grant that is not asked": {Order{Kind: OrderWalkCut, Subject: "second", For: -time.Second}, ""},
	} {
		t.Run(name, func(t *testing.T) {
			g := newRig(t, walkPlan())
			a := g.order(c.order)
			require.Equal(t, c.words == "", a.Accepted, a.Because)
			require.Contains(t, a.Because, c.words)
			require.Equal(t, a.Accepted, g.open[Output{"north", 7}])
		})
	}
}

// While a room is walked a shot by hand is refused and windows wait; its end lets both go on.
func TestShotBesideAWalk(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	require.True(t, g.order(Order{Kind: OrderWalk}).Accepted)
	a := g.order(Order{Kind: OrderShot, Zone: "a", For: time.Minute})
	require.Equal(t, []any{false, SupplyBusy}, []any{a.Accepted, a.Reason})
	require.Contains(t, a.Because, "the room is being walked")
	require.Empty(t, g.commands(g.run(walkQuiet-time.Second, 35), true))
	require.Contains(t, g.zone("a").Because, "the room is being walked")
	require.True(t, g.order(Order{Kind: OrderWalkEnd}).Accepted)
	require.True(t, g.open[Output{"north", 1}], "the window that waited")
}

// An opening gives 3 % of the substrate by the zone's numbers, a minute where one of them
// is not known, and never more than a run may have.
func TestWalkLength(t *testing.T) {
	for name, c := range map[string]struct {
		change func(z *Zone)
		want   time.Duration
	}{
		"all known":    {func(*Zone) {}, 175500 * time.Millisecond}, // 0.03 x 6.5 L at 4 L/h
		"no emitters":  {func(z *Zone) { z.EmitterLPH = 0 }, time.Minute},
		"no substrate": {func(z *Zone) { z.VolumeML = 0 }, time.Minute},
		"a short run":  {func(z *Zone) { z.Limits.MaxRun = 30 * time.Second }, 30 * time.Second},
	} {
		t.Run(name, func(t *testing.T) {
			p := walkPlan()
			c.change(&p.Zones[0])
			require.Equal(t, c.want, newRig(t, p).room.zones[0].walkLength())
		})
	}
}

// A valve that no report ever showed open did not close by itself: the walk waits to the
// end of its opening, and does not take it for the end of the grant.
func TestUnrenewedGrantOfAValveThatNeverOpened(t *testing.T) {
	p := walkPlan()
	p.Lease = LeaseMin
	g := newRig(t, p)
	g.obey = false
	require.True(t, g.order(Order{Kind: OrderWalkCut, Subject: "second"}).Accepted)
	require.Empty(t, g.commands(g.run(LeaseMin+walkCutWait-time.Second, 45), false))
	run := g.room.zones[0].run
	require.NotNil(t, run)
	require.False(t, g.room.dropped(run))
	require.NotEmpty(t, g.commands(g.run(time.Second, 45), false))
}

// A master that leads and closes a little before its own grant ends is not the end of the
// opening, which has not begun.
func TestUnrenewedGrantOfAMasterThatLeads(t *testing.T) {
	p := walkPlan()
	p.Lease = LeaseMin
	p.Supplies[0].Master = &Master{Output: Output{"north", 8}, Kind: MasterValve, Lead: LeaseMin}
	g := newRig(t, p)
	require.True(t, g.order(Order{Kind: OrderWalkCut, Subject: "second"}).Accepted)
	g.run(LeaseMin-time.Second, 45)
	run := g.room.zones[0].run
	require.Equal(t, leading, run.phase)
	require.True(t, g.open[Output{"north", 8}])
	g.open[Output{"north", 8}] = false
	g.pass(500 * time.Millisecond)
	g.report()
	g.step(&Tick{})
	require.Same(t, run, g.room.zones[0].run)
	require.False(t, g.room.dropped(run))
	g.run(time.Second, 45)
	require.True(t, g.open[Output{"north", 7}])
}

// A walk that found a valve otherwise takes the good walk of that wiring back; a person's
// word, or a good walk, gives it again. Another wiring's walk stays out of it.
func TestAWalkIsTakenBack(t *testing.T) {
	g := newRig(t, walkPlan())
	id := g.room.plan.Zones[0].ID
	mark := g.zone(id).Wiring
	reject := func(zone, subject, note string) *Answer {
		return g.order(Order{ID: "o1", Kind: OrderWalkReject, Zone: zone, Subject: subject, Note: note})
	}
	require.False(t, reject("z", mark, "").Accepted)
	require.True(t, reject(id, mark, "valve second: swapped").Accepted, "there is nothing to take back")
	require.Contains(t, g.zone(id).NotWalked, "no walk has shown")
	require.True(t, g.order(Order{ID: "o2", Kind: OrderWalkAccept, Zone: id}).Accepted)
	a := reject(id, mark+"0", "valve second: swapped")
	require.Equal(t, []any{false, NotWalked}, []any{a.Accepted, a.Reason})
	require.Empty(t, g.zone(id).NotWalked)
	require.False(t, reject(id, "", "valve second: swapped").Accepted, "of which wiring?")

	require.True(t, reject(id, mark, "valve second: swapped").Accepted)
	require.Equal(t, "the walk of 2027-03-01 found "+id+" otherwise than the files say (valve second: swapped): mend it, then `rillgate walk "+id+"`", g.zone(id).NotWalked)
	require.Nil(t, g.zone(id).WalkedAt)
	require.True(t, g.alarmed(NotWalked, id))
	w := g.room.mem.Clone().Zones[id].Walked
	require.Equal(t, "valve second: swapped", w.Against, "a restart knows it")

	p := walkPlan()
	p.Zones[0].ID = "renamed"
	for i := range p.Probes {
		p.Probes[i].Zone = "renamed"
	}
	g.step(&NewPlan{Plan: p})
	require.Contains(t, g.zone("renamed").NotWalked, "found renamed otherwise")
	require.True(t, g.order(Order{ID: "o3", Kind: OrderWalkAccept, Zone: "renamed"}).Accepted)
	require.Empty(t, g.zone("renamed").NotWalked)
	require.True(t, reject("renamed", mark, strings.Repeat("é", againstAtMost)).Accepted)
	against := g.room.mem.Zones["renamed"].Walked.Against
	require.Len(t, against, againstAtMost, "what the ledger keeps of it is bounded")
	require.True(t, utf8.ValidString(against))
	g.step(&NewPlan{Plan: walkPlan()})
	require.Contains(t, g.zone(id).NotWalked, "valve second: swapped", "under its own name its own word")
}
