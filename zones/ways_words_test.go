package zones

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/schedule"
)

// Every reason is explained; what is none is not.
func TestReasonsAreExplained(t *testing.T) {
	for _, r := range Reasons() {
		e, ok := r.Explain()
		require.True(t, ok, r)
		require.NotEmpty(t, e, r)
	}
	_, ok := Reason("nothing").Explain()
	require.False(t, ok)
}

// Words for what does not hold are empty, so that no reason is shown with another's
// words.
func TestWordsOfWhatDoesNotHold(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	z := g.room.zoneBy["a"]
	require.Empty(t, roomLatchWords(CrashLoop)(g.room, z, nil))
	require.Empty(t, latchWords(NoResponse)(g.room, z, nil))
	require.Empty(t, stoppedWords(g.room, z, nil))
	require.Empty(t, lowWords(nil))
	require.Equal(t, "starting", startingWords(g.room, z, nil))
	require.Empty(t, busyWords(g.room, &zone{}, nil))
	z.told = PlanChanged
	require.Empty(t, g.room.because(z))
	require.False(t, areShotsSpent(g.room, &zone{}, &ask{window: "w"}), "no window is open")
}

// A mismatch latched before a zone joined the supply binds it by the master.
func TestMasterLatchBindsAZoneThatJoins(t *testing.T) {
	one := func(hash string) *Plan {
		p := masterPlan(MasterValve)
		p.Hash, p.Zones, p.Valves, p.Probes = hash, p.Zones[:1], p.Valves[:1], p.Probes[:3]
		return p
	}
	g := watering(t, one("0001"))
	g.order(Order{Kind: OrderStop, Zone: "a"})
	g.obey = false
	g.open[Output{"north", 1}] = true
	g.run(10*time.Second, 45)
	require.NotNil(t, hasLatch(g.room.supplies[0].master.mem.Latches, ValveMismatch))
	g.obey = true
	g.open[Output{"north", 1}] = false
	p := masterPlan(MasterValve)
	p.Hash = "0002"
	g.step(&NewPlan{p})
	g.run(10*time.Second, 35)
	require.Nil(t, g.room.zoneBy["b"].latch(ValveMismatch))
	require.Equal(t, ValveMismatch, g.zone("b").Reason)
	require.Contains(t, g.zone("b").Because, "rillgate reset b")
	require.True(t, g.order(Order{Kind: OrderReset, Zone: "a"}).Accepted)
	require.NotEqual(t, ValveMismatch, g.zone("b").Reason)
}

// Without a time zone the room's clock is UTC.
func TestRoomWithoutATimeZone(t *testing.T) {
	p := benchPlan(1, 2)
	p.Calendar.Location = nil
	g := watering(t, p)
	require.Equal(t, time.UTC, g.room.location())
	require.Contains(t, g.zone("a").Next, "closes at 08:0")
}

// Why a probe does not count.
func TestProbeWords(t *testing.T) {
	g := newRig(t, benchPlan(1, 4))
	say := func(n int, percent float64, has bool) {
		g.step(&Reading{Place: Place{"north", 1, itoa(n)}, Moisture: Level(percent * 1000), HasMoisture: has, EC: math.NaN(), Temperature: math.NaN(), Permittivity: math.NaN()})
	}
	say(0, 99, true)
	say(1, 20, true)
	say(2, 0, false)
	views := map[string]ProbeView{}
	for _, v := range g.room.View(g.now).Probes {
		views[v.ID] = v
	}
	require.Equal(t, ProbeImplausible, views["a0"].Quality)
	require.Contains(t, views["a0"].Because, "outside 2.0 to 95.0 %")
	require.Equal(t, ProbeImplausible, views["a1"].Quality)
	require.Contains(t, views["a1"].Because, "fell from 45.0 %")
	require.Equal(t, ProbeGood, views["a3"].Quality)
	p := g.room.probeByID("a2")
	p.forget()
	say(2, 0, false)
	require.Contains(t, p.words(p.quality(g.room.t), g.room.t), "counts for nothing")
}

// A zone that the schedule gives nothing, one that has no windows of its own, and a crop.
func TestZonesWithoutWindows(t *testing.T) {
	p := benchPlan(3, 2)
	p.Zones[0].Schedule = schedule.Zone{}
	p.Zones[1].Schedule = schedule.Zone{Named: true, Crop: &schedule.Crop{Day1: schedule.Date{Year: 2027, Month: 2, Day: 1}}}
	g := rawRig(t, p, NewMemory())
	g.now.Trusted = false
	g.run(40*time.Second, 45)
	require.Equal(t, NoReason, g.zone("a").Reason, "no window of it waits for a clock")
	require.Equal(t, Fallow, g.zone("a").State)
	require.Equal(t, ClockUnsure, g.zone("b").Reason)
	require.Equal(t, ClockUnsure, g.zone("c").Reason)
	g.now.Trusted = true
	g.run(10*time.Second, 45)
	require.Equal(t, Fallow, g.zone("b").State, "a crop without stages")
	require.Contains(t, g.zone("b").Because, "no water is due")
}

// The dry alarm, in other words: by rule without a moisture, and after long refusals.
func TestDryWords(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	z := g.room.zoneBy["a"]
	z.est.known, z.dry.refused = false, dryRefused
	require.Contains(t, dryWords(g.room, z), "refused for 4 h")
	z.mem.Lost = g.room.t - dryBlind
	require.Contains(t, dryWords(g.room, z), "no moisture is known for 4 h")
	z.cfg.Dry = &DryRule{Below: 30000, For: time.Hour}
	require.Contains(t, dryWords(g.room, z), "refused for 4 h", "a rule of its own does not ask for blindness")
	z.est.known = true
	require.Contains(t, dryWords(g.room, z), "under 30.0 % for 1 h")
}

// What a window waits for, in words.
func TestWatchWords(t *testing.T) {
	p := benchPlan(1, 2)
	w := &p.Zones[0].Schedule.Windows[0]
	g := newRig(t, p)
	z := g.room.zoneBy["a"]
	back := schedule.Window{Name: "w", DryBack: 5000}
	z.est.fallKnown = false
	require.Contains(t, z.watchWords(&back), "marks each probe's highest")
	z.outs[0].mem.Ran = true
	require.Contains(t, z.watchWords(&back), "waits for the moisture to settle")
	require.Contains(t, z.watchWords(&schedule.Window{Name: "w", StopAt: 50000}), "was reached")
	require.Equal(t, "w: nothing is due", z.watchWords(&schedule.Window{Name: "w"}))
	require.Contains(t, z.watchWords(w), "waters under 40.0 %")
	z.sitSet = false
	require.Empty(t, z.askWords(&ask{}), "no window is open")
}

// An uptime that runs off is told while the controller is heard.
func TestControllerWords(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	c := g.room.controlBy["north"]
	c.driftBad = true
	require.Contains(t, controllerWords(c), "runs off ours")
	c.online, c.offWhy = false, "no report for 15 s"
	require.Equal(t, "controller north: no report for 15 s", controllerWords(c))
	c.online, c.driftBad = true, false
	require.Equal(t, "the zone has no controller", offlineWords(g.room, &zone{}, nil))
}

// Student's t beyond the table: with 12 values, 11 degrees of freedom (2.201 in the NIST
// table; the formula gives 2.205).
func TestHalfWidthBeyondTheTable(t *testing.T) {
	v := make([]float64, 12)
	for i := range v {
		v[i] = 40 + float64(i%2)
	}
	h, ok := halfWidth(v)
	require.True(t, ok)
	require.InDelta(t, 2.201*math.Sqrt(0.27272727)/math.Sqrt(12), h, 0.001)
}

// More probes than an estimate can hold: the first 64 count.
func TestEstimateOfManyProbes(t *testing.T) {
	z := &zone{cfg: &benchPlan(1, 0).Zones[0]}
	z.cfg.Moisture.Quorum = 1
	for range 70 {
		p := newTestProbe()
		p.zone = z
		p.hear(time.Second, 40)
		p.hear(2*time.Second, 40)
		z.probes = append(z.probes, p)
	}
	e := z.estimate(3 * time.Second)
	require.True(t, e.known)
	require.Equal(t, 64, e.count)
	z.probes, z.cfg.Moisture.Quorum = nil, 0
	e = z.estimate(3 * time.Second)
	require.False(t, e.known, "nothing is no moisture, whatever the quorum")
}
