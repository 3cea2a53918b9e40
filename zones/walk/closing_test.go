package walk_test

import (
	"testing"
	"time"

	"rillgate/zones"
	"rillgate/zones/simroom"
	"rillgate/zones/walk"

	"github.com/stretchr/testify/require"
)

func closings(t *testing.T, o simroom.Options, master bool) *walk.Result {
	p := roomPlan(2, 1, 1)
	if master {
		p.Supplies[0].Master = &zones.Master{Output: zones.Output{Controller: "north", Number: 8}, Kind: zones.MasterValve, Lead: 2 * time.Second}
	}
	x := newRoom(t, p, o)
	x.begin(p, walk.Ask{Closings: true})
	return x.run(time.Hour)
}

// Outputs that keep their grants are timed by their controller's own clock, the master
// too; no renewal lets them run on.
func TestClosingsAreTimed(t *testing.T) {
	for lag, want := range map[time.Duration]float64{-1: 0, 90 * time.Millisecond: 0.09} {
		r := closings(t, simroom.Options{Seed: 1, CutOffLag: lag}, true)
		require.Len(t, r.Closings, 4, "two valves, and the master with each")
		for _, c := range r.Closings {
			require.NotNil(t, c.Late, c.Because)
			require.InDelta(t, want, *c.Late, 0.011, c.Valve)
			require.Contains(t, c.Because, "closed by itself")
		}
		require.True(t, r.Good(), r.Text())
		require.Empty(t, r.Probes)
		for _, z := range r.Zones {
			require.False(t, z.Good, "how outputs close says nothing of the beds")
		}
	}
}

// A controller that does not keep its grants is found out; the gateway closes the valve.
func TestOutputsThatDoNotCloseAreFound(t *testing.T) {
	r := closings(t, simroom.Options{Seed: 1, NoCutOff: true}, false)
	require.Len(t, r.Closings, 2)
	for _, c := range r.Closings {
		require.Nil(t, c.Late)
		require.Contains(t, c.Because, "does not keep grants")
	}
	require.False(t, r.Good())
}

// A walk that is stopped closes what is open and keeps what it has.
func TestStoppedWalk(t *testing.T) {
	p := roomPlan(2, 1, 2)
	x := newRoom(t, p, simroom.Options{Seed: 2})
	x.begin(p, walk.Ask{})
	opened := func() int { return len(x.sim.Driven(zones.Output{Controller: "north", Number: 2})) }
	for opened() == 0 {
		x.look()
		x.until(x.sim.Now() + 2*time.Second)
	}
	x.walk.Stop("enough")
	r := x.run(time.Minute)
	x.until(x.sim.Now() + 10*time.Second)
	require.True(t, r.Partial)
	require.Equal(t, walk.AsConfigured, r.Valves[0].Verdict, r.Text())
	require.Equal(t, walk.NotWalked, r.Valves[1].Verdict)
	require.Contains(t, r.Valves[1].Because, "it was opened")
	require.NotEqual(t, simroom.Never, x.sim.Driven(zones.Output{Controller: "north", Number: 2})[0].To, "closed")
	require.True(t, x.walked("z1"), "what was found before holds")
	require.False(t, x.walked("z2"))
	require.False(t, r.Good())
}

// A held zone is refused, and said to be; the others are walked.
func TestWalkOfAHeldZone(t *testing.T) {
	p := roomPlan(2, 1, 2)
	x := newRoom(t, p, simroom.Options{Seed: 4})
	x.step(&zones.Order{ID: "h", Kind: zones.OrderHold, Zone: "z1", For: 10 * time.Hour})
	x.begin(p, walk.Ask{})
	r := x.run(6 * time.Hour)
	require.Equal(t, walk.Refused, r.Valves[0].Verdict)
	require.Contains(t, r.Valves[0].Because, "held: ")
	require.Equal(t, walk.AsConfigured, r.Valves[1].Verdict, r.Text())
	require.False(t, x.walked("z1"))
}

// A walk fails to begin where there is nothing to walk.
func TestWalkOfNothing(t *testing.T) {
	p := roomPlan(1, 1, 1)
	x := newRoom(t, p, simroom.Options{})
	v := x.core.View(x.now())
	_, err := walk.New(p, &v, walk.Ask{Zones: []string{"z9"}})
	require.ErrorContains(t, err, "z9")
	v.Valves = nil
	_, err = walk.New(p, &v, walk.Ask{})
	require.Error(t, err)
}

// Another plan in force ends a walk: what it found would be of another wiring.
func TestPlanEndsAWalk(t *testing.T) {
	p := roomPlan(1, 1, 1)
	x := newRoom(t, p, simroom.Options{})
	x.begin(p, walk.Ask{})
	x.look()
	other := *p
	other.Hash = "1111"
	x.step(&zones.NewPlan{Plan: &other})
	r := x.run(time.Minute)
	require.True(t, r.Partial)
	require.Contains(t, r.Why, "another plan")
}
