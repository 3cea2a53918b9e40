package zones

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func (g *rig) evidence(valve string) ValveEvidence {
	e, ok := g.room.ValveEvidence(valve, g.now)
	require.True(g.t, ok, valve)
	return e
}

// What is said of a valve goes with its shot: before, while it is open, after.
func TestEvidenceOfAValve(t *testing.T) {
	p := benchPlan(1, 2)
	p.Zones[0].Limits.Soak = &SoakLimits{MaxRun: time.Minute, MaxPerDay: 2 * time.Hour, MaxMoisture: 80000}
	p.Zones[0].Lost = &Fallback{Every: time.Hour, MaxPerDay: 10 * time.Minute}
	g := newRig(t, p)
	e := g.evidence("north/1")
	require.Equal(t, "feed", e.Supply)
	require.False(t, e.ToldOpen)
	require.Equal(t, Starting, e.ToldWhy, "closed first, as the start does")
	require.True(t, e.Obeyed)
	require.NotNil(t, e.ReportedAt)
	require.Nil(t, e.GrantUntil)
	require.Nil(t, e.LastEnd)
	require.Equal(t, []Spending{{"shots", 0, 3600}, {"soaks", 0, 7200}, {"without probes", 0, 600}}, e.Day)
	require.Equal(t, 360.0, e.MaxRunS)

	g.run(31*time.Second, 38)
	e = g.evidence("a")
	require.True(t, e.ToldOpen && e.Obeyed && e.ReportedOpen && e.Granted)
	require.True(t, e.GrantUntil.After(g.now.Wall))
	require.NotEmpty(t, e.Run)
	require.Equal(t, 60.0, e.Day[0].Seconds, "charged whole, before it opens")

	g.run(70*time.Second, 45)
	e = g.evidence("a")
	require.False(t, e.ToldOpen || e.ReportedOpen || e.Granted)
	require.Equal(t, ShotDone, e.ToldWhy)
	require.True(t, e.Obeyed)
	require.WithinDuration(t, g.now.Wall.Add(-40*time.Second), *e.LastEnd, 35*time.Second)
	require.True(t, e.RestsTo.After(g.now.Wall))

	g.order(Order{ID: "1", Kind: OrderStop, Zone: "a"})
	require.Equal(t, StoppedByPerson, g.evidence("a").Latches[0].Code)
	for _, name := range []string{"", "north/9", "b"} {
		_, ok := g.room.ValveEvidence(name, g.now)
		require.False(t, ok, name)
	}
}

// A controller that was never heard leaves nothing to tell; a budget that is not known is
// said to be spent, in the view too.
func TestEvidenceOfAValveThatWasNotHeard(t *testing.T) {
	m := NewMemory()
	m.Spent = true
	p := benchPlan(1, 2)
	room, _ := NewRoom(p, m, Instant{Wall: time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC), Mono: time.Hour, Trusted: true})
	e, ok := room.ValveEvidence("a", Instant{Wall: time.Date(2027, 3, 1, 8, 0, 1, 0, time.UTC), Mono: time.Hour + time.Second})
	require.True(t, ok)
	require.Nil(t, e.ToldAt)
	require.Nil(t, e.ReportedAt)
	require.True(t, e.Spent)
	require.True(t, room.View(Instant{Mono: 2 * time.Hour}).Zones[0].BudgetSpent)
	require.False(t, newRig(t, benchPlan(1, 2)).zone("a").BudgetSpent)

	p.Valves[0].Supply = ""
	p.Zones = nil
	room, _ = NewRoom(p, NewMemory(), Instant{Mono: time.Hour})
	e, ok = room.ValveEvidence("a", Instant{Mono: time.Hour})
	require.True(t, ok)
	require.Empty(t, e.Day)
	require.Empty(t, e.Supply)
	require.Equal(t, time.UTC, room.Location())
}

func (g *rig) probeEvidence(name string) ProbeEvidence {
	e, ok := g.room.ProbeEvidence(name, g.now)
	require.True(g.t, ok, name)
	return e
}

func TestEvidenceOfAProbe(t *testing.T) {
	p := benchPlan(1, 3)
	p.Probes[1].Offset = -1500
	g := newRig(t, p)
	e := g.probeEvidence("a1")
	require.True(t, e.Counts && e.Sent)
	require.False(t, e.OwnTime)
	require.NotNil(t, e.HeardAt)
	require.GreaterOrEqual(t, e.Readings, 2)
	require.Equal(t, []float64{180, 2, 95, -1.5, 45}, []float64{e.Stale, e.Lowest, e.Highest, e.Offset, *e.ZoneValue})
	require.Equal(t, []int{3, 3, 2}, []int{e.ZoneCounts, e.ZoneHas, e.Quorum})
	require.Equal(t, e, g.probeEvidence("north/1/1"), "by its place too")

	hear := func(address string, percent float64) {
		g.step(&Reading{Place: Place{"north", 1, address}, Moisture: Level(percent * 1000), HasMoisture: true, EC: math.NaN(), Temperature: math.NaN()})
	}
	for i := range 3 {
		g.pass(10 * time.Second)
		hear("0", 45+4*float64(i+1))
		hear("1", 45)
		hear("2", 45)
	}
	require.False(t, g.probeEvidence("a0").Counts, "more than 10 points from the middle")
	hear("2", 20)
	e = g.probeEvidence("a2")
	require.False(t, e.Counts)
	require.Equal(t, 45.0, *e.FellFrom)
	g.order(Order{ID: "1", Kind: OrderIgnore, Subject: "a1", For: time.Hour})
	require.True(t, g.probeEvidence("a1").LeftOut.After(g.now.Wall))
	require.Nil(t, g.probeEvidence("a0").ZoneValue, "one that counts is under the quorum")

	g.step(&Reading{Place: Place{"north", 7, "5"}, Moisture: 40000, HasMoisture: true, EC: math.NaN(), Temperature: math.NaN()})
	stray := g.probeEvidence("north/7/5")
	require.Zero(t, stray.ZoneHas)
	require.Empty(t, stray.Curve, "a curve belongs to a zone's substrate")
	_, ok := g.room.ProbeEvidence("", g.now)
	require.False(t, ok)
	require.Nil(t, func() *time.Time {
		e, _ := rawRig(t, benchPlan(1, 2), NewMemory()).room.ProbeEvidence("a0", g.now)
		return e.HeardAt
	}())
}

// One rule says which probes count: what leaves the moisture leaves the warmth that is
// watched and the warmth that is shown.
func TestOutliersCountForNothing(t *testing.T) {
	p := benchPlan(1, 3)
	high := 25.0
	p.Zones[0].RootTemperature = &Band{Above: &high, For: time.Minute}
	g := newRig(t, p)
	hear := func(address string, percent, celsius float64) {
		g.step(&Reading{Place: Place{"north", 1, address}, Moisture: Level(percent * 1000), HasMoisture: true, EC: math.NaN(), Temperature: celsius})
	}
	for i := range 4 {
		g.pass(10 * time.Second)
		hear("0", 45+4*float64(i), 40)
		hear("1", 45, 20)
		hear("2", 45, 21)
	}
	require.Equal(t, 20.5, *g.zone("a").Temperature)
	pore, celsius := g.room.zoneBy["a"].rootNumbers(&g.room.zoneBy["a"].est, g.room.t)
	require.Empty(t, pore)
	require.Equal(t, []float64{20, 21}, celsius)
}

func TestWithoutAPlanNoZoneIsNamed(t *testing.T) {
	room, _ := NewRoom(&Plan{Room: "bay", Lease: 30 * time.Second}, NewMemory(), Instant{Mono: time.Hour})
	for _, e := range room.Step(Instant{Mono: time.Hour}, &Order{ID: "1", Kind: OrderHold, Zone: "a", For: time.Hour}) {
		if a, ok := e.(*Answer); ok {
			require.Equal(t, `no zone "a"; there is no zone while no plan is in force`, a.Because)
			return
		}
	}
	t.Fatal("no answer")
}

// A valve that was told to open has obeyed when a report shows it, and one whose report
// waits has not; nobody is told that it did.
func TestEvidenceOfAValveThatIsNotShownOpen(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	g.obey = false
	require.True(t, g.order(Order{Kind: OrderShot, Zone: "a", For: time.Minute}).Accepted)
	e := g.evidence("a")
	require.True(t, e.ToldOpen && e.Granted)
	require.False(t, e.Obeyed || e.ReportedOpen)
	for _, c := range g.commands(g.got, true) {
		g.open[c.Output], g.epoch, g.seq = true, c.Epoch, c.Seq
	}
	g.pass(time.Second)
	g.report()
	require.True(t, g.evidence("a").Obeyed)
}

// What bears no id is not found by the lack of a name.
func TestEvidenceOfNoName(t *testing.T) {
	p := benchPlan(1, 2)
	p.Valves[0].ID, p.Probes[0].ID = "", ""
	g := rawRig(t, p, NewMemory())
	_, ok := g.room.ValveEvidence("", g.now)
	require.False(t, ok)
	_, ok = g.room.ProbeEvidence("", g.now)
	require.False(t, ok)
	require.Equal(t, "feed", g.evidence("north/1").Supply)
	require.Equal(t, 2, g.probeEvidence("north/1/0").ZoneHas)
}

// A master is told as one, with the zones that it opens for; a zone's valve is none.
func TestEvidenceOfAMaster(t *testing.T) {
	p := benchPlan(2, 2)
	p.Supplies[0].Master = &Master{Output: Output{"north", 8}, Kind: MasterValve, Lead: 2 * time.Second}
	g := newRig(t, p)
	e := g.evidence("north/8")
	require.True(t, e.Master)
	require.Equal(t, []string{"a", "b"}, e.Serves)
	require.False(t, g.evidence("a").Master)
	require.Empty(t, g.evidence("a").Serves)
}
