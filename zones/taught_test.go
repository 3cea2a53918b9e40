package zones

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/schedule"
	"rillgate/zones/response"
)

func learned(v, half float64) response.Number {
	return response.Number{Value: v, Spread: half, HalfWidth: half, N: 20}
}

func taughtPlan() *Plan {
	p := respondPlan()
	p.Calendar.Days = []schedule.Day{{On: 6 * time.Hour, Off: 18 * time.Hour}}
	p.Zones[0].Dry = &DryRule{Below: 38000, For: 20 * time.Minute}
	return p
}

// The rig's clock stands at 08:00 UTC and a bit. 45 % less 38 % is 7 points: at 1
// point/h by day that is 15:00 and a bit; at 0.5 by day and 1 by night the lights go
// out at 18:00 after 5 points, and 2 points of night later it is 20:00.
func TestDryingFollowsTheLights(t *testing.T) {
	for _, c := range []struct {
		day, night response.Number
		at         string
	}{
		{learned(1, 0.05), learned(0.2, 0.02), "15:00"},
		{learned(0.5, 0.05), learned(1, 0.05), "20:00"},
	} {
		g := newRig(t, taughtPlan())
		id := g.room.plan.Zones[0].ID
		g.step(&Taught{Zone: id, Day: c.day, Night: c.night})
		g.wet(45)
		d, ok := g.room.drying(g.room.zoneBy[id], g.room.t)
		require.True(t, ok)
		require.False(t, d.Reached)
		want, err := time.Parse("15:04", c.at)
		require.NoError(t, err)
		got := d.At.UTC()
		require.InDelta(t, want.Hour()*60+want.Minute(), got.Hour()*60+got.Minute(), 3, "%s", got)
		require.Greater(t, d.HalfWidth, time.Minute)
		require.Contains(t, g.room.dryingWords(g.room.zoneBy[id], g.room.t), "reaches 38 % at about "+c.at)
	}
}

func TestDryingThatIsNotTold(t *testing.T) {
	g := newRig(t, taughtPlan())
	z := g.room.zones[0]
	require.Empty(t, g.room.dryingWords(z, g.room.t), "nothing learned")
	g.step(&Taught{Zone: z.id, Day: learned(1, 0.1)})
	g.now.Trusted = false
	g.step(&Tick{})
	_, ok := g.room.drying(z, g.room.t)
	require.True(t, ok, "without a clock the lights count as on: soonest")
	z.cfg.Dry = nil
	z.sit.LowestBelow = 0
	require.Empty(t, g.room.dryingWords(z, g.room.t), "no dry level")
}

// A blind zone dries from where it was last known, also over a restart.
func TestBlindZoneDriesFromItsLastLevel(t *testing.T) {
	g := newRig(t, taughtPlan())
	z := g.room.zones[0]
	g.step(&Taught{Zone: z.id, Day: learned(1, 0.1), Night: learned(0.1, 0.01)})
	g.wet(41)
	g.run(2*time.Hour, 0)
	require.False(t, z.est.known)
	require.Contains(t, g.room.dryingWords(z, g.room.t), "reaches 38 % at about 11:00")
	require.Contains(t, g.room.alarm(ProbesLost, z.id).because, "reaches 38 % at about")
	require.Contains(t, g.zone(z.id).Because, "reaches 38 %")
	g.run(2*time.Hour, 0)
	require.Contains(t, g.room.dryingWords(z, g.room.t), "is at or under its dry level of 38 % by now")

	again := startRig(t, taughtPlan(), g.room.Memory(), true)
	z = again.room.zones[0]
	again.step(&Taught{Zone: z.id, Day: learned(1, 0.1), Night: learned(0.1, 0.01)})
	// Its wall clock stands at 08:00 again, so the last level was at 04:00: two hours of
	// night and 2.8 of day.
	require.Contains(t, again.room.dryingWords(z, again.room.t), "reaches 38 % at about 08:50")
}

// Shots within 2 points of the field level that the zone has shown are no shots that
// should be felt; until it is learned `stop_at` stands in.
func TestFieldLevelThatWasLearned(t *testing.T) {
	g := newRig(t, taughtPlan())
	z := g.room.zones[0]
	z.est.known, z.est.value = true, 50000
	z.window().StopAt, z.window().DryBack = 60000, 0
	require.False(t, g.room.nearField(z), "10 points under stop_at")
	g.step(&Taught{Zone: z.id, Field: 52000})
	z.est.known, z.est.value = true, 50000
	require.True(t, g.room.nearField(z), "2 points under the field level")
	z.est.value = 49999
	require.False(t, g.room.nearField(z))
}

// Probes lost one by one leave the doubt that the zone had, not that of the last two.
func TestDoubtOfProbesThatGoOneByOne(t *testing.T) {
	g := newRig(t, taughtPlan())
	z := g.room.zones[0]
	read := func(levels ...float64) Level {
		for range 2 {
			g.pass(31 * time.Second)
			for i, l := range levels {
				g.step(&Reading{Place: z.probes[i].place, Moisture: Level(l * 1000), HasMoisture: true, EC: math.NaN(), Temperature: math.NaN(), Permittivity: math.NaN()})
			}
		}
		return z.doubt(g.room.t)
	}
	whole := read(44, 46, 48)
	require.InDelta(t, 5000, float64(whole), 1, "t 4.303 x 2 / root of 3, bounded")
	g.pass(4 * time.Minute)
	require.InDelta(t, 2800, float64(read(44, 48)), 1, "2 x 2 / root of 2")
	g.pass(4 * time.Minute)
	require.InDelta(t, 4000, float64(read(44)), 1)
}

// Water given while nobody sees it is reckoned: a shot of 3 % by its length.
func TestWaterGivenBlindIsReckoned(t *testing.T) {
	g := newRig(t, taughtPlan())
	z := g.room.zones[0]
	g.step(&Taught{Zone: z.id, Day: learned(1, 0.1), Night: learned(0.1, 0.01)})
	g.wet(42)
	g.run(4*time.Minute, 0)
	require.False(t, z.est.known)
	before, _ := g.room.drying(z, g.room.t)
	length, ok := z.cfg.RunTime(schedule.Shot{Kind: schedule.ByPercent, Value: 3})
	require.True(t, ok)
	z.wateredBlind(length)
	after, _ := g.room.drying(z, g.room.t)
	require.InDelta(t, 3*time.Hour, after.At.Sub(before.At), float64(2*time.Minute), "3 points at 1 point/h")
	require.Greater(t, after.HalfWidth, before.HalfWidth)
}

// Water beyond the field level drains: what is given blind lifts no zone over the level
// that it has shown, nor over its max_moisture where it has shown none.
func TestWaterGivenBlindDrains(t *testing.T) {
	for _, c := range []struct {
		field, most Level
	}{{0, 70000}, {48000, 48000}, {75000, 70000}} {
		g := newRig(t, taughtPlan())
		z := g.room.zones[0]
		g.step(&Taught{Zone: z.id, Field: c.field})
		g.wet(46)
		g.run(4*time.Minute, 0)
		require.False(t, z.est.known)
		for range 20 {
			z.wateredBlind(6 * time.Minute)
		}
		require.Equal(t, c.most, z.mem.Level)
	}
}
