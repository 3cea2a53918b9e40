package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// weighed is a plan whose transformer of 24 V gives va; its valves hold with 6 VA and pull
// in with 9.6 VA, what hangs on the healthy output holds with 2.4 VA and pulls in with 4.8 VA.
func weighed(va float64) *Plan {
	p := healthyPlan()
	p.Controllers[0].Volts, p.Controllers[0].VA = 24, va
	p.HealthyPart = HealthyPart{Drives: "horn", Holding: 0.1, Inrush: 0.2}
	for i := range p.Valves {
		p.Valves[i].Holding, p.Valves[i].Inrush = 0.25, 0.4
	}
	return p
}

// The transformer has a place for the healthy output at any time: 6 + 2.4 VA and the step
// of 3.6 VA are 12 VA.
func TestTransformerCountsTheHealthyOutput(t *testing.T) {
	fits := func(va float64) bool {
		g := newRig(t, weighed(va))
		require.True(t, g.open[Output{"north", 9}])
		return !g.room.overloaded(g.room.controlBy["north"], g.room.zoneBy["a"])
	}
	require.True(t, fits(12))
	require.False(t, fits(11.9))

	g := newRig(t, weighed(11.9))
	g.step(&BrokerLink{})
	g.step(&BrokerLink{Up: true})
	require.False(t, g.room.healthy.out.wanted)
	require.True(t, g.room.overloaded(g.room.controlBy["north"], g.room.zoneBy["a"]), "dropped it counts too: it is taken up again beside what is open")
	p := weighed(7.1)
	p.HealthyPart = HealthyPart{Holding: 0.1, Inrush: 0.2}
	p.Valves[0].Holding, p.Valves[0].Inrush = 0.1, 0.1
	g = newRig(t, p)
	require.True(t, g.room.overloaded(g.room.controlBy["north"], g.room.zoneBy["a"]), "2.4 + 2.4 VA, and the horn's own step of 2.4 VA")
}

// It is not taken up beside what leaves its controller's transformer too little.
func TestHealthyWaitsForItsTransformer(t *testing.T) {
	light := weighed(12)
	light.HealthyPart = HealthyPart{}
	g := newRig(t, light)
	at := Output{"north", 9}
	require.True(t, g.order(Order{Kind: OrderShot, Zone: "a", For: 3 * time.Minute}).Accepted)
	g.run(10*time.Second, 45)
	require.True(t, g.open[Output{"north", 1}])
	g.room.dropHealthy(Healthy, "for this test")
	heavy := weighed(12)
	heavy.HealthyPart = HealthyPart{Holding: 0.3, Inrush: 0.3}
	g.step(&NewPlan{heavy})
	g.run(70*time.Second, 45)
	require.True(t, g.open[Output{"north", 1}])
	require.False(t, g.open[at], "6 + 7.2 VA of 12")
	require.Equal(t, "the transformer of north cannot take it beside what is open", g.room.View(g.now).Healthy.Because)
	g.run(3*time.Minute, 45)
	require.True(t, g.open[at], "taken up when the run was over")
}

// A zone over its limit and a clock that is not sure mostly go by themselves; what stays
// for an hour drops the output, unless somebody knows of it.
func TestWhatLastsDropsTheHealthyOutput(t *testing.T) {
	for _, code := range []Reason{OverWet, ClockUnsure} {
		subject := map[Reason]string{OverWet: "a", ClockUnsure: "bay"}[code]
		p := healthyPlan()
		p.Zones[0].Limits.MaxMoisture = 46000
		g := newRig(t, p)
		level := map[Reason]float64{OverWet: 47, ClockUnsure: 45}[code]
		g.now.Trusted = code != ClockUnsure
		g.run(10*time.Second, level)
		require.NotNil(t, g.room.alarm(code, subject))
		g.run(59*time.Minute, level)
		require.True(t, g.open[Output{"north", 9}], "%s: not yet", code)
		require.Empty(t, g.room.View(g.now).Healthy.Alarms)
		g.run(time.Minute, level)
		require.False(t, g.open[Output{"north", 9}], "%s: an hour is over", code)
		require.Equal(t, []string{string(code) + "-" + subject}, g.room.View(g.now).Healthy.Alarms)
		require.True(t, g.order(Order{Kind: OrderAcknowledge, Subject: string(code)}).Accepted)
		g.run(2*time.Minute, level)
		require.True(t, g.open[Output{"north", 9}], "%s: somebody knows", code)
	}
}

// A bed that was soaked is as wet as a person wanted it; one that is wetter than that is not.
func TestSoakedBedIsNoNews(t *testing.T) {
	wet := func(level float64, soaked bool) bool {
		p := healthyPlan()
		p.Zones[0].Limits.Soak = &SoakLimits{MaxRun: 10 * time.Minute, MaxPerDay: time.Hour, MaxMoisture: 48000}
		p.Zones[0].Limits.MaxMoisture = 46000
		g := newRig(t, p)
		if soaked {
			require.True(t, g.order(Order{Kind: OrderSoak, Zone: "a", VolumeML: 100}).Accepted)
			g.run(10*time.Minute, 45)
			require.Nil(t, g.room.zoneBy["a"].soak)
		}
		g.run(62*time.Minute, level)
		require.NotNil(t, g.room.alarm(OverWet, "a"))
		require.Nil(t, g.room.alarm(LeakFound, "a"))
		return g.open[Output{"north", 9}]
	}
	require.True(t, wet(47, true))
	require.False(t, wet(47, false), "nobody soaked it")
	require.False(t, wet(49, true), "wetter than a soak may make it")
}

// Each honest state of the output, as reports tell it.
func TestStatesOfTheHealthyOutput(t *testing.T) {
	g := newRig(t, healthyPlan())
	state := func() HealthyState { return g.room.View(g.now).Healthy.State }
	unheard, _ := NewRoom(healthyPlan(), NewMemory(), g.now)
	require.Equal(t, HealthyUnknown, unheard.View(g.now).Healthy.State)
	v := g.room.View(g.now).Healthy
	require.Equal(t, HealthyHeld, v.State)
	require.True(t, v.Held)
	require.Empty(t, v.Because)
	require.NotNil(t, v.Alarms)
	held := v.Since
	g.run(time.Minute, 45)
	require.WithinDuration(t, held, g.room.View(g.now).Healthy.Since, time.Millisecond)

	g.obey = false
	g.step(&BrokerLink{})
	require.Equal(t, HealthyMaybe, state(), "its grant may hold it still")
	require.WithinDuration(t, g.now.Wall, g.room.View(g.now).Healthy.Since, time.Second)
	g.step(&BrokerLink{Up: true})
	g.run(5*time.Second, 45)
	require.Equal(t, HealthyMaybe, state(), "no report carries the close")
	g.seq = g.room.seq
	g.run(time.Second, 45)
	require.Equal(t, HealthyStuck, state(), "reports that carry the close show it held")
	g.seq = 0
	g.run(40*time.Second, 45)
	require.Equal(t, HealthyStuck, state(), "reports show it held past its last deadline")
	g.obey = true
	g.run(2*time.Second, 45)
	require.Equal(t, HealthyDropped, state())
	g.obey = false
	g.run(70*time.Second, 45)
	require.Equal(t, HealthyWaiting, state())
	require.Equal(t, "no report shows it held yet", g.room.View(g.now).Healthy.Because)

	silent := newRig(t, healthyPlan())
	silent.step(&BrokerLink{})
	silent.pass(time.Minute)
	require.Equal(t, HealthyDropped, silent.room.View(silent.now).Healthy.State, "no report, and its grant ran out")
}

// A plan may forbid it: the box of a room that stays closed does not say that all is well.
func TestHealthyThatMayNotBeHeld(t *testing.T) {
	p := healthyPlan()
	p.HealthyPart.Never = "the room stays closed"
	g := newRig(t, p)
	g.run(2*time.Minute, 45)
	require.False(t, g.open[Output{"north", 9}])
	require.Equal(t, "the room stays closed", g.room.View(g.now).Healthy.Because)
}

// What it was told and what its grant is can be asked by its place and by its name.
func TestEvidenceOfTheHealthyOutput(t *testing.T) {
	g := newRig(t, healthyPlan())
	for _, name := range []string{"north/9", healthyID} {
		e, ok := g.room.ValveEvidence(name, g.now)
		require.True(t, ok, name)
		require.True(t, e.ToldOpen && e.Granted && e.Obeyed && e.ReportedOpen)
		require.Empty(t, e.Day)
	}
	_, ok := newRig(t, benchPlan(1, 2)).room.ValveEvidence(healthyID, g.now)
	require.False(t, ok)
}
