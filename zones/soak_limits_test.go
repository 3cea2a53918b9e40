package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A volume that nobody can turn into time, or that takes more than a day with its rests,
// is refused; the last that fits a day is not.
func TestSoaksThatCannotBeReckoned(t *testing.T) {
	for name, c := range map[string]struct {
		change  func(z *Zone)
		refused string
	}{
		"no emitters":       {func(z *Zone) { z.EmitterLPH = 0 }, "nobody can tell how long that volume takes"},
		"rests of a day":    {func(z *Zone) { z.Limits.MinRest = 24*time.Hour - 15*time.Minute }, ""},
		"and a second more": {func(z *Zone) { z.Limits.MinRest = 24*time.Hour - 15*time.Minute + time.Second }, "over 24 h: ask for less"},
		"a run of all":      {func(z *Zone) { z.Limits.Soak.MaxRun, z.Limits.MinRest = 15*time.Minute, 48*time.Hour }, ""},
	} {
		t.Run(name, func(t *testing.T) {
			p := soakPlan(1, 2)
			c.change(&p.Zones[0])
			a := newRig(t, p).order(Order{Kind: OrderSoak, Zone: "a", VolumeML: 1000})
			require.Equal(t, c.refused == "", a.Accepted, a.Because)
			require.Contains(t, a.Because, c.refused)
		})
	}
}

// A soak whose limits are gone is held by those of shots, and none of its runs fits.
func TestSoakWithoutLimitsIsHeldByThoseOfShots(t *testing.T) {
	g := newRig(t, soakPlan(1, 2))
	z := g.room.zoneBy["a"]
	a := &ask{on: true, hand: true, soak: true, reason: Soak, length: time.Minute}
	z.soak = &soak{}
	require.Equal(t, 10*time.Minute, z.maxRun())
	require.Equal(t, Level(80000), z.maxMoisture())
	require.False(t, isSoakSpent(g.room, z, a))
	require.Contains(t, dailyWords(g.room, z, a), "soaks gave 0 s of 2 h")

	z.cfg.Limits.Soak = nil
	require.Equal(t, 6*time.Minute, z.maxRun())
	require.Equal(t, Level(70000), z.maxMoisture())
	require.True(t, isSoakSpent(g.room, z, a))
	require.Contains(t, dailyWords(g.room, z, a), "0 s of 1 h given")
	l, ok := g.room.permit(z, a, supplyStep)
	require.False(t, ok)
	require.Equal(t, DailyLimit, l.code)
}

// A run that outlived its soak, which the room reports as a breach, is closed as any other.
func TestRunThatOutlivedItsSoakIsClosed(t *testing.T) {
	g := newRig(t, soakPlan(1, 2))
	require.True(t, g.order(Order{Kind: OrderSoak, Zone: "a", VolumeML: 100}).Accepted)
	g.run(time.Minute, 45)
	require.True(t, g.open[Output{"north", 1}])
	g.room.zoneBy["a"].soak = nil
	require.Equal(t, []string{"INV-19"}, g.breaches())
	require.True(t, g.order(Order{Kind: OrderHold, Zone: "a"}).Accepted)
	require.False(t, g.open[Output{"north", 1}])
	require.Nil(t, ended(g.got), "what is not on does not end")
}

// A soak that waits for its supply belongs to no window: one that shuts meanwhile is not
// told as passed, and the soak goes on. A shot of that window is.
func TestWindowThatShutsWhileASoakWaits(t *testing.T) {
	for _, soaks := range []bool{true, false} {
		p := soakPlan(2, 2)
		for i := range p.Zones {
			w := &p.Zones[i].Schedule.Windows[0]
			w.Name, w.Until.Offset = "morning", 8*time.Hour+3*time.Minute
		}
		g := newRig(t, p)
		require.True(t, g.order(Order{Kind: OrderShot, Zone: "b", For: 5 * time.Minute}).Accepted)
		if soaks {
			require.True(t, g.order(Order{Kind: OrderSoak, Zone: "a", VolumeML: 100}).Accepted)
		}
		level := map[bool]float64{true: 45, false: 35}[soaks]
		g.run(time.Minute, level)
		z := g.room.zoneBy["a"]
		require.True(t, z.waiting)
		require.True(t, z.sit.Open)
		g.run(3*time.Minute, level)
		require.False(t, z.sit.Open)
		require.Equal(t, soaks, z.refusals[WindowPassed] == 0)
		require.Equal(t, soaks, z.waiting)
		g.run(2*time.Minute, level)
		require.Equal(t, soaks, g.open[Output{"north", 1}])
	}
}

// A soak shows its own limit and rest, and what soaks have left in valve time and volume.
func TestSoakIsShown(t *testing.T) {
	p := benchPlan(1, 2)
	p.Zones[0].Limits.Soak = &SoakLimits{MaxRun: 10 * time.Minute, MaxPerDay: time.Hour, MaxMoisture: 80000}
	g := newRig(t, p)
	require.Equal(t, &SoakRoom{LimitSeconds: 3600, LeftSeconds: 3600, LeftML: 4000}, g.zone("a").SoakRoom)
	require.InDelta(t, 70, *g.zone("a").MaxMoisture, 1e-9)
	require.True(t, g.order(Order{Kind: OrderSoak, Zone: "a", VolumeML: 1000}).Accepted)
	g.run(10*time.Minute, 45)
	z := g.zone("a")
	require.Equal(t, 2, z.Soak.Runs)
	require.InDelta(t, 450, z.Soak.RunSeconds, 1)
	require.InDelta(t, 300, z.Soak.RestSeconds, 1)
	require.InDelta(t, 80, z.Soak.MaxMoisture, 1e-9)
	require.InDelta(t, 80, *z.MaxMoisture, 1e-9, "it stands in the place of the zone's own")
	require.InDelta(t, 3150, z.SoakRoom.LeftSeconds, 2)
	require.InDelta(t, 3500, z.SoakRoom.LeftML, 3, "two emitters of 2 L/h")
	require.Contains(t, z.Next, "run 2 of 2 of its soak may begin at ")
	g.run(20*time.Minute, 45)
	require.Nil(t, g.zone("a").Soak)
	require.InDelta(t, 70, *g.zone("a").MaxMoisture, 1e-9)

	require.Nil(t, newRig(t, benchPlan(1, 2)).zone("a").SoakRoom)
}
