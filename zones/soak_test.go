package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// soakPlan is benchPlan with zones that may be soaked: 1 L a plant are 15 min.
func soakPlan(n, m int) *Plan {
	p := benchPlan(n, m)
	for i := range p.Zones {
		p.Zones[i].Limits.Soak = &SoakLimits{MaxRun: 10 * time.Minute, MaxPerDay: 2 * time.Hour, MaxMoisture: 80000}
	}
	return p
}

func ended(effects []Effect) *Entry {
	for _, e := range effects {
		if x, ok := e.(*Entry); ok && x.Kind == "soak-ended" {
			return x
		}
	}
	return nil
}

// The runs of a soak on both sides of each edge.
func TestSoakIsReckoned(t *testing.T) {
	for name, c := range map[string]struct {
		ml           float64
		over         time.Duration
		runs         int
		length, rest time.Duration
		refused      string
	}{
		"no volume":              {refused: "has a volume"},
		"less than none":         {ml: -1, refused: "has a volume"},
		"over less than no time": {ml: 100, over: -1, refused: "lasts up to 24 h"},
		"over a day":             {ml: 100, over: 24 * time.Hour, runs: 9, length: 10 * time.Second, rest: (24*time.Hour - 90*time.Second) / 8},
		"over a day and more":    {ml: 100, over: 24*time.Hour + 1, refused: "lasts up to 24 h"},
		"one run":                {ml: 10000.0 / 15, runs: 1, length: 10 * time.Minute, rest: 5 * time.Minute},
		"one run and a little":   {ml: 667, runs: 2, length: 300150 * time.Millisecond, rest: 5 * time.Minute},
		"in just its time":       {ml: 1000, over: 20 * time.Minute, runs: 2, length: 450 * time.Second, rest: 5 * time.Minute},
		"in less than its time":  {ml: 1000, over: 20*time.Minute - time.Second, refused: "take 20 min: give it that long"},
		"in half an hour":        {ml: 100, over: 30 * time.Minute, runs: 1, length: 90 * time.Second, rest: 5 * time.Minute},
		"in a second more":       {ml: 100, over: 30*time.Minute + time.Second, runs: 2, length: 45 * time.Second, rest: 30*time.Minute + time.Second - 90*time.Second},
		"of a day's limit":       {ml: 8000, runs: 12, length: 10 * time.Minute, rest: 5 * time.Minute},
		"of more than that":      {ml: 8001, refused: "a soak may have 2 h in 24 h"},
	} {
		t.Run(name, func(t *testing.T) {
			z := newRig(t, soakPlan(1, 2)).room.zoneBy["a"]
			s, why := z.planSoak(&Order{VolumeML: c.ml, For: c.over})
			if c.refused != "" {
				require.Contains(t, why, c.refused)
				return
			}
			require.Empty(t, why)
			require.Equal(t, c.runs, s.runs)
			require.Equal(t, c.length, s.length)
			require.Equal(t, c.rest, s.rest)
			require.LessOrEqual(t, s.planned(z), max(c.over, 24*time.Hour))
		})
	}
}

// No file lets a soak pass the ceilings of a run and of a day, which shots and soaks share.
func TestCeilingsBindASoak(t *testing.T) {
	p := soakPlan(1, 0)
	p.Zones[0].Limits.MaxPerDay, p.Zones[0].Limits.MaxRun = 12*time.Hour, time.Hour
	p.Zones[0].Limits.Soak = &SoakLimits{MaxRun: 3 * time.Hour, MaxPerDay: 24 * time.Hour, MaxMoisture: 80000}
	g := newRig(t, p)
	z := g.room.zoneBy["a"]
	s, why := z.planSoak(&Order{VolumeML: 4 * 4000})
	require.Empty(t, why)
	require.Equal(t, 4, s.runs)
	require.Equal(t, time.Hour, s.length)
	_, why = z.planSoak(&Order{VolumeML: 12.01 * 4000})
	require.Contains(t, why, "may have 12 h")

	require.True(t, g.order(Order{Kind: OrderShot, Zone: "a", For: time.Hour}).Accepted)
	g.run(time.Hour+6*time.Minute, 0)
	a := g.order(Order{Kind: OrderSoak, Zone: "a", VolumeML: 11*4000 + 1})
	require.Equal(t, DailyLimit, a.Reason, a.Because)
	require.Contains(t, a.Because, "no zone may have more than 12 h")
	require.True(t, g.order(Order{Kind: OrderSoak, Zone: "a", VolumeML: 11 * 4000}).Accepted)
}

// What binds a shot by hand binds a soak, and a zone that does not feel its water too; an
// unsure clock and lost probes do not.
func TestWhatKeepsASoakAway(t *testing.T) {
	latch := func(code Reason) func(*rig) {
		return func(g *rig) { g.room.latchZone(g.room.zoneBy["a"], code, "so it is") }
	}
	for name, c := range map[string]struct {
		do   func(g *rig)
		want Reason
	}{
		"nothing":      {func(*rig) {}, Soak},
		"a bad clock":  {func(g *rig) { g.now.Trusted = false }, Soak},
		"lost probes":  {func(g *rig) { g.run(4*time.Minute, 0) }, Soak},
		"no response":  {latch(NoResponse), NoResponse},
		"not walked":   {func(g *rig) { g.room.plan.Zones[0].RequireWalk = true }, NotWalked},
		"a leak":       {latch(LeakFound), LeakFound},
		"a stuck one":  {latch(ValveMismatch), ValveMismatch},
		"a stop":       {func(g *rig) { g.order(Order{Kind: OrderStop}) }, StoppedByPerson},
		"a hold":       {func(g *rig) { g.order(Order{Kind: OrderHold, Zone: "a"}) }, HeldByPerson},
		"the broker":   {func(g *rig) { g.step(&BrokerLink{}) }, BrokerLost},
		"the cable":    {func(g *rig) { g.step(&Status{Controller: "north"}) }, ControllerOffline},
		"the ledger":   {func(g *rig) { g.step(&RecordFailed{Err: "full"}) }, StoreFailed},
		"a wet bed":    {func(g *rig) { g.room.plan.Zones[0].Limits.Soak.MaxMoisture = 45000 }, OverWet},
		"one less wet": {func(g *rig) { g.room.plan.Zones[0].Limits.Soak.MaxMoisture = 45001 }, Soak},
		"a lost day":   {func(g *rig) { g.room.zoneBy["a"].outs[0].mem.Spent = true }, DailyLimit},
		"a shot":       {func(g *rig) { g.order(Order{Kind: OrderShot, Zone: "a", For: time.Minute}) }, SupplyBusy},
		"another soak": {func(g *rig) { g.order(Order{Kind: OrderSoak, Zone: "a", VolumeML: 9}) }, Soak},
	} {
		t.Run(name, func(t *testing.T) {
			g := newRig(t, soakPlan(1, 2))
			c.do(g)
			a := g.order(Order{Kind: OrderSoak, Zone: "a", VolumeML: 100})
			require.Equal(t, c.want, a.Reason, a.Because)
			require.Equal(t, c.want == Soak && name != "another soak", a.Accepted)
		})
	}
}

// The same ends one that is on: whole, not this run alone.
func TestWhatEndsASoak(t *testing.T) {
	for name, c := range map[string]struct {
		do   func(g *rig)
		want Reason
	}{
		"a bad clock":   {func(g *rig) { g.now.Trusted = false; g.run(5*time.Second, 45) }, NoReason},
		"lost probes":   {func(g *rig) { g.run(3*time.Minute+time.Second, 0) }, ProbesLost},
		"probes in air": {func(g *rig) { g.wet(1) }, ProbesImplausible},
		"a wet bed":     {func(g *rig) { g.wet(80) }, OverWet},
		"a hold":        {func(g *rig) { g.order(Order{Kind: OrderHold, Zone: "a"}) }, HeldByPerson},
		"a stop":        {func(g *rig) { g.order(Order{Kind: OrderStop}) }, StoppedByPerson},
		"the broker":    {func(g *rig) { g.step(&BrokerLink{}) }, BrokerLost},
		"the cable":     {func(g *rig) { g.step(&Status{Controller: "north"}) }, ControllerOffline},
		"the ledger":    {func(g *rig) { g.step(&RecordFailed{Err: "full"}) }, StoreFailed},
		"a new boot":    {func(g *rig) { g.boot = "b2"; g.report() }, Starting},
		"its end":       {func(g *rig) { g.order(Order{Kind: OrderSoak, Zone: "a", Subject: SoakEnd}) }, StoppedByPerson},
		"the end":       {func(g *rig) { g.step(&Shutdown{}) }, StoppedByPerson},
		"a new name": {func(g *rig) {
			p := soakPlan(1, 2)
			p.Zones[0].ID = "b"
			g.step(&NewPlan{Plan: p})
		}, PlanChanged},
		"another output": {func(g *rig) {
			p := soakPlan(1, 2)
			p.Valves[0].Output.Number = 5
			g.step(&NewPlan{Plan: p})
		}, PlanChanged},
		"a zone more":         {func(g *rig) { g.step(&NewPlan{Plan: soakPlan(2, 2)}) }, NoReason},
		"a plan that forbids": {func(g *rig) { g.step(&NewPlan{Plan: benchPlan(1, 2)}) }, PlanChanged},
		"the same plan":       {func(g *rig) { g.step(&NewPlan{Plan: soakPlan(1, 2)}) }, NoReason},
	} {
		for _, between := range []bool{false, true} {
			t.Run(name, func(t *testing.T) {
				g := newRig(t, soakPlan(1, 2))
				require.True(t, g.order(Order{Kind: OrderSoak, Zone: "a", VolumeML: 1000}).Accepted)
				g.run(time.Minute, 45)
				require.Equal(t, Watering, g.zone("a").State)
				if between {
					g.run(7*time.Minute, 45)
					require.Equal(t, Resting, g.zone("a").State)
					require.Equal(t, Soak, g.zone("a").Reason)
				}
				before := len(g.got)
				c.do(g)
				e := ended(g.got[before:])
				if c.want == NoReason {
					require.Nil(t, e)
					require.NotNil(t, g.room.zoneBy["a"].soak)
					return
				}
				require.NotNil(t, e)
				if !between || c.want != StoppedByPerson || name != "the end" {
					require.Equal(t, c.want, e.Reason)
				}
				require.Contains(t, e.Because, "of 1 L a plant given in 1 of 2 runs")
				require.InDelta(t, map[bool]float64{true: 450, false: 60}[between], e.Seconds, 185)
				require.False(t, g.open[Output{"north", 1}], "what was open is closed")
				g.mute = g.room.storeBroken != ""
				require.Empty(t, g.commands(g.run(30*time.Minute, 45), true), "nothing goes on")
			})
		}
	}
}

// A soak is told of in the zone's view and in the journal, with its order.
func TestSoakIsTold(t *testing.T) {
	g := newRig(t, soakPlan(1, 2))
	require.True(t, g.order(Order{ID: "o-7", Kind: OrderSoak, Zone: "a", VolumeML: 1000}).Accepted)
	g.run(time.Minute, 45)
	require.Contains(t, g.zone("a").Because, "soak: run 1 of 2, 0 mL of 1 L a plant given before it")
	g.run(7*time.Minute, 45)
	v := g.zone("a")
	require.Contains(t, v.Because, "500 mL of 1 L a plant given in 1 of 2 runs; the next at")
	require.NotNil(t, v.Soak)
	require.Equal(t, SoakView{VolumeML: 1000, GivenML: 500, Runs: 2, Begun: 1, RunSeconds: 450, RestSeconds: 300, MaxMoisture: 80, Until: v.Soak.Until}, *v.Soak)
	require.Zero(t, v.UsedSeconds, "shots have their own day")
	require.InDelta(t, 450, v.SoakSeconds, 1)
	e := ended(g.run(15*time.Minute, 45))
	require.NotNil(t, e)
	require.Equal(t, Entry{Kind: "soak-ended", Zone: "a", Reason: ShotDone, Because: "1 L of 1 L a plant given in 2 of 2 runs: all of it is given",
		Order: "o-7", Seconds: 900, Litres: 10}, *e)
	require.Nil(t, g.zone("a").Soak)
}

// A walk opens no valve of a zone that is being soaked.
func TestNoWalkBesideASoak(t *testing.T) {
	g := newRig(t, soakPlan(1, 2))
	require.True(t, g.order(Order{Kind: OrderSoak, Zone: "a", VolumeML: 1000}).Accepted)
	g.run(8*time.Minute, 45)
	require.Equal(t, Soak, g.order(Order{Kind: OrderWalk, Zone: "a"}).Reason)
	require.True(t, g.order(Order{Kind: OrderSoak, Zone: "a", Subject: SoakEnd}).Accepted)
	g.run(6*time.Minute, 45)
	require.True(t, g.order(Order{Kind: OrderWalk, Zone: "a"}).Accepted)
}

func TestVolumeWords(t *testing.T) {
	for ml, want := range map[float64]string{0: "0 mL", 0.4: "0 mL", 66.67: "67 mL", 999.4: "999 mL", 999.5: "1 L", 1250: "1.25 L", 2000: "2 L", 12345: "12.35 L"} {
		require.Equal(t, want, VolumeWords(ml))
	}
}

// A soak that waits for a walk promises no end that it cannot keep: what it says is from
// when nothing more begins, and what it waits for. A walk's own word is not an end either.
func TestSoakThatWaitsForAWalk(t *testing.T) {
	g := newRig(t, soakPlan(2, 2))
	require.True(t, g.order(Order{Kind: OrderWalk}).Accepted)
	a := g.order(Order{Kind: OrderSoak, Zone: "a", VolumeML: 1000})
	require.True(t, a.Accepted)
	last := g.zone("a").Soak.Until.Format("15:04")
	require.Contains(t, a.Because, "it waits until the room is walked, and takes about 20 min from there; no run begins after "+last)
	require.NotContains(t, a.Because, "until about")
	require.Contains(t, g.order(Order{Kind: OrderSoak, Zone: "b", VolumeML: 100}).Because, "in one run of 1 min 30 s; it waits until the room is walked")
	g.run(time.Minute, 38)
	require.Equal(t, "the room is being walked", g.zone("a").Soak.Waits)
	require.Contains(t, g.zone("a").Because, "if nothing more is heard of it, until ")
	require.Contains(t, g.zone("a").Because, "of the soak no run begins after "+last)
	require.NotContains(t, g.zone("a").Because, "at most")

	require.True(t, g.order(Order{Kind: OrderWalkEnd}).Accepted)
	g.run(time.Minute, 38)
	waits := []string{g.zone("a").Soak.Waits, g.zone("b").Soak.Waits}
	require.ElementsMatch(t, []string{"", "for its turn on supply feed"}, waits, "one is open")
	for _, z := range []string{"a", "b"} {
		require.True(t, g.order(Order{Kind: OrderSoak, Zone: z, Subject: SoakEnd}).Accepted)
	}
	g.run(6*time.Minute, 38)
	require.NotContains(t, g.order(Order{Kind: OrderSoak, Zone: "b", VolumeML: 100}).Because, "until")
	require.Contains(t, g.order(Order{Kind: OrderSoak, Zone: "a", VolumeML: 1000}).Because, "with 5 min between, until about ")
}
