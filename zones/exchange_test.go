package zones

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// says lets one place be heard.
func (g *rig) says(at Place, percent float64, serial string) {
	g.step(&Reading{Place: at, Moisture: Level(math.Round(percent * 1000)), HasMoisture: true, EC: math.NaN(), Temperature: math.NaN(), Permittivity: math.NaN(), Serial: serial})
}

func (g *rig) probe(id string) ProbeView {
	for _, p := range g.room.View(g.now).Probes {
		if p.ID == id {
			return p
		}
	}
	g.t.Fatalf("no probe %s", id)
	return ProbeView{}
}

// again is the room after a crash, by what the ledger would say.
func (g *rig) again(p *Plan) *rig {
	m := NewMemory()
	for _, e := range g.got {
		if r, ok := e.(*Record); ok {
			m.Apply(r)
		}
	}
	n := rawRig(g.t, p, m)
	n.now = g.now
	n.got = append(g.got[:len(g.got):len(g.got)], n.got...)
	return n
}

func planWith(change func(p *Plan)) *Plan {
	p := benchPlan(1, 3)
	change(p)
	return p
}

// A probe that fell out of its range of belief is exchanged: the one that answers at its
// place keeps id, zone and label, counts from its second reading, and is not held against
// the old one's numbers, offset or time.
func TestExchangeAtItsPlace(t *testing.T) {
	plan := planWith(func(p *Plan) { p.Probes[0].Label, p.Probes[0].Offset = "front", -1500 })
	g := newRig(t, plan)
	at := plan.Probes[0].Place
	g.says(at, 12, "old")
	require.Equal(t, ProbeImplausible, g.probe("a0").Quality, "it fell by 30 points")
	require.True(t, g.order(Order{Kind: OrderIgnore, Subject: "a0", For: time.Hour}).Accepted)

	a := g.order(Order{Kind: OrderExchange, Subject: "a0"})
	require.True(t, a.Accepted, a.Because)
	require.Contains(t, a.Because, "zone a, label and history stay")
	require.Contains(t, a.Because, "the offset of -1.5 points went with the old one")
	p := g.probe("a0")
	require.Equal(t, "front", p.Label)
	require.Equal(t, "a", p.Zone)
	require.Equal(t, "not heard since it was exchanged", p.Because)
	require.Equal(t, &KeptProbe{Void: -1500}, p.Kept)

	g.says(at, 38, "new")
	require.Equal(t, ProbeNew, g.probe("a0").Quality)
	g.pass(time.Minute)
	g.says(at, 38, "new")
	p = g.probe("a0")
	require.Equal(t, ProbeGood, p.Quality, "7 points under the old one, and believed")
	require.InDelta(t, 38, *p.Moisture, 1e-9, "without the old one's offset")
	require.Equal(t, "new", p.Serial)
}

// The offset of the files is added again when they say another, and stays void over a
// restart until then; also when they go back to the old number later.
func TestAnOffsetGoesWithItsProbe(t *testing.T) {
	with := func(o Level) *Plan { return planWith(func(p *Plan) { p.Probes[0].Offset = o }) }
	offset := func(g *rig) Level { return g.room.probeByID("a0").signal.offset }
	g := newRig(t, with(2000))
	require.Equal(t, Level(2000), offset(g))
	require.True(t, g.order(Order{Kind: OrderExchange, Subject: "a0"}).Accepted)
	require.Zero(t, offset(g))
	g.step(&NewPlan{with(2000)})
	require.Zero(t, offset(g), "the files say the old one's yet")
	g = g.again(with(2000))
	require.Zero(t, offset(g), "after a crash too")
	g.step(&NewPlan{with(700)})
	require.Equal(t, Level(700), offset(g))
	require.Nil(t, g.probe("a0").Kept)
	g.step(&NewPlan{with(2000)})
	require.Equal(t, Level(2000), offset(g), "they lead")

	require.True(t, g.order(Order{Kind: OrderExchange, Subject: "a0", KeepOffset: true}).Accepted)
	require.Equal(t, Level(2000), offset(g), "a person says that it holds for this one")
	require.True(t, g.order(Order{Kind: OrderExchange, Subject: "a0"}).Accepted)
	require.Zero(t, offset(g))
	a := g.order(Order{Kind: OrderExchange, Subject: "a0", KeepOffset: true})
	require.Contains(t, a.Because, "the offset of 2.0 points is added, as room.yaml says")
	require.Equal(t, Level(2000), offset(g), "what was dropped by mistake is back")
	require.True(t, g.order(Order{Kind: OrderExchange, Subject: "a0"}).Accepted)
	g = g.again(with(0))
	g = g.again(with(2000))
	require.Equal(t, Level(2000), offset(g), "a start sees other files too")
}

// What a dead probe leaves open is taken over by one that answers elsewhere.
func TestExchangeWithAnother(t *testing.T) {
	plan := planWith(func(p *Plan) { p.Probes[0].Label, p.Probes[0].Offset = "front", 1000 })
	was, is := plan.Probes[0].Place, Place{"north", 1, "7"}
	g := newRig(t, plan)
	g.says(is, 44, "new")
	require.Equal(t, ProbeNew, g.probe("north-1-7").Quality)
	a := g.order(Order{Kind: OrderExchange, Subject: "a0", With: "north/1/7"})
	require.True(t, a.Accepted, a.Because)
	require.Contains(t, a.Because, "room.yaml names it at north/1/0 still: in its line `address: \"0\"` becomes `address: \"7\"`")

	check := func(g *rig) {
		t.Helper()
		p := g.probe("a0")
		require.Equal(t, is, p.Place)
		require.Equal(t, "front", p.Label)
		require.Equal(t, "a", p.Zone)
		require.True(t, p.InFiles)
		require.Equal(t, &KeptProbe{Label: "front", Instead: "north/1/0", Void: 1000}, p.Kept)
		g.says(is, 44, "new")
		g.pass(time.Minute)
		g.says(is, 44, "new")
		require.Equal(t, ProbeGood, g.probe("a0").Quality)
		require.Nil(t, g.room.probeByID("north-1-7"), "it is a0 now")
	}
	check(g)
	g.says(was, 45, "old")
	old := g.probe("north-1-0")
	require.Equal(t, ProbeNew, old.Quality, "the old one answers yet: it is a stranger")
	require.Equal(t, 3, g.zone("a").Assigned)

	g.step(&NewPlan{planWith(func(p *Plan) { p.Hash, p.Probes[0] = "0001", plan.Probes[0] })})
	check(g)
	g = g.again(plan)
	check(g)
	require.Equal(t, 3, g.zone("a").Assigned)

	there := planWith(func(p *Plan) { p.Hash, p.Probes[0].Place = "0002", is })
	g.step(&NewPlan{there})
	require.Equal(t, is, g.probe("a0").Place)
	require.Equal(t, &KeptProbe{Label: "front"}, g.probe("a0").Kept, "the files have it now")
	back := planWith(func(p *Plan) { p.Hash = "0003" })
	g.step(&NewPlan{back})
	require.Equal(t, was, g.probe("a0").Place, "they lead, also when they go back")
	g = g.again(back)
	require.Equal(t, was, g.probe("a0").Place)
}

// Files that name a third place, or another probe where the exchange brought it, lead.
func TestFilesLeadOverAnExchange(t *testing.T) {
	is := Place{"north", 1, "7"}
	moved := func() *rig {
		g := newRig(t, benchPlan(1, 3))
		g.says(is, 44, "")
		require.True(t, g.order(Order{Kind: OrderExchange, Subject: "a0", With: "north-1-7"}).Accepted)
		require.True(t, g.order(Order{Kind: OrderLabel, Subject: "a0", Label: "by the door"}).Accepted)
		return g
	}
	g := moved()
	third := Place{"north", 1, "9"}
	g.step(&NewPlan{planWith(func(p *Plan) { p.Probes[0].Place = third })})
	require.Equal(t, third, g.probe("a0").Place)
	require.Equal(t, "by the door", g.probe("a0").Label, "what the files leave open is not lost")
	require.NotContains(t, g.room.mem.Probes, is.String())

	g = moved()
	other := planWith(func(p *Plan) { p.Probes[1].Place = is })
	g.step(&NewPlan{other})
	require.Equal(t, Place{"north", 1, "0"}, g.probe("a0").Place)
	require.Equal(t, is, g.probe("a1").Place)
	g.step(&NewPlan{benchPlan(1, 3)})
	require.Equal(t, Place{"north", 1, "0"}, g.probe("a0").Place, "over for good")

	g = moved()
	gone := benchPlan(1, 3)
	gone.Probes = gone.Probes[1:]
	g.step(&NewPlan{gone})
	p := g.probe("a0")
	require.Equal(t, "", p.Zone, "a line that was taken out waters nothing")
	require.Equal(t, "by the door", p.Label)
}

// Probes of the register alone are exchanged likewise.
func TestExchangeOfAnAssignedProbe(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	was, is := Place{"north", 9, "b"}, Place{"north", 9, "c"}
	g.says(was, 44, "")
	a := g.order(Order{Kind: OrderAssign, Subject: "north-9-b", Zone: "a", Label: "back"})
	require.True(t, a.Accepted)
	require.Contains(t, a.Because, `under `+"`probes`"+` of terminal 9 of north, goes: - {id: north-9-b, address: "b", zone: a, label: "back"}`)
	g.says(is, 44, "")
	require.True(t, g.order(Order{Kind: OrderExchange, Subject: "north-9-b", With: "north-9-c"}).Accepted)
	for range 2 {
		p := g.probe("north-9-b")
		require.Equal(t, is, p.Place)
		require.Equal(t, "a", p.Zone)
		require.Equal(t, "back", p.Label)
		require.Equal(t, 3, g.zone("a").Assigned)
		g = g.again(benchPlan(1, 2))
	}
	g.says(was, 44, "")
	require.Equal(t, was, g.probe("north-9-b-2").Place, "no two probes bear one id")
}

// The new one's numbers are no water that ran away, and no dry-back.
func TestAnExchangeJudgesNothingByTheOldOne(t *testing.T) {
	plan := benchPlan(1, 2)
	plan.Zones[0].Schedule.Windows[0].Below = 1000
	g := newRig(t, plan)
	g.run(31*time.Minute, 30)
	require.NotEmpty(t, g.room.zoneBy["a"].mem.Highs)
	require.True(t, g.order(Order{Kind: OrderExchange, Subject: "a0"}).Accepted)
	require.True(t, g.order(Order{Kind: OrderExchange, Subject: "a1"}).Accepted)
	require.Empty(t, g.room.zoneBy["a"].mem.Highs)
	g.run(3*time.Minute, 45)
	require.Empty(t, g.zone("a").Latches, "15 points up at once is another probe, no leak")
	g = g.again(plan)
	require.False(t, g.room.probeByID("a0").hasHigh && g.room.probeByID("a0").high < 40000)
}

// A run that moisture speaks for ends when the exchange takes its quorum.
func TestAnExchangeTakesTheQuorum(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	g.run(20*time.Second, 35)
	require.Equal(t, Watering, g.zone("a").State)
	require.True(t, g.order(Order{Kind: OrderExchange, Subject: "a0"}).Accepted)
	require.NotEqual(t, Watering, g.zone("a").State)
}

func TestOrdersOnProbesThatAreRefused(t *testing.T) {
	g := newRig(t, planWith(func(p *Plan) { p.Probes[0].Label = "front" }))
	for name, c := range map[string]struct {
		order Order
		words string
	}{
		"exchange what nobody knows":    {Order{Kind: OrderExchange, Subject: "p"}, "no probe"},
		"exchange with what nobody met": {Order{Kind: OrderExchange, Subject: "a0", With: "north/1/9"}, "no probe"},
		"exchange two of the files":     {Order{Kind: OrderExchange, Subject: "a0", With: "a1"}, "it leads"},
		"label what nobody knows":       {Order{Kind: OrderLabel, Subject: "p", Label: "x"}, "no probe"},
		"label with nothing":            {Order{Kind: OrderLabel, Subject: "a1"}, "one line"},
		"label with two lines":          {Order{Kind: OrderLabel, Subject: "a1", Label: "a\nb"}, "one line"},
		"label what the files label":    {Order{Kind: OrderLabel, Subject: "a0", Label: "back"}, "it leads"},
		"assign with two lines":         {Order{Kind: OrderAssign, Subject: "a1", Zone: "a", Label: "a\nb"}, "one line"},
	} {
		t.Run(name, func(t *testing.T) {
			a := g.order(c.order)
			require.False(t, a.Accepted)
			require.Contains(t, a.Because, c.words)
		})
	}
	require.True(t, g.order(Order{Kind: OrderAssign, Subject: "a1", Zone: "a"}).Accepted, "as the files say")
	require.Equal(t, &KeptProbe{Zone: "a"}, g.probe("a1").Kept)
	require.True(t, g.order(Order{Kind: OrderLabel, Subject: "a1", Label: "back"}).Accepted)
	g = g.again(benchPlan(1, 3))
	require.Equal(t, "back", g.probe("a1").Label)
}

// A stranger that sends a permittivity alone is shown with it: no zone says how to read it.
func TestAStrangerOfPermittivityIsShown(t *testing.T) {
	g := newRig(t, benchPlan(1, 1))
	g.step(&Reading{Place: Place{"north", 9, "z"}, Permittivity: 21.5, EC: 0.7, Temperature: 20, Serial: "S9"})
	p := g.probe("north-9-z")
	require.Equal(t, ProbeNew, p.Quality)
	require.Equal(t, "S9", p.Serial)
	require.Nil(t, p.Moisture)
	require.InDelta(t, 21.5, *p.Permittivity, 0)
	require.InDelta(t, 0.7, *p.EC, 0)
	require.Zero(t, *p.AgeSeconds)
	g.run(4*time.Minute, 45)
	p = g.probe("north-9-z")
	require.Nil(t, p.Permittivity, "a number that is not known is not shown")
	require.Equal(t, 240, *p.AgeSeconds)
}
