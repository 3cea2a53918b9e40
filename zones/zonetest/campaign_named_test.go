package zonetest_test

import (
	"encoding/json"
	"slices"
	"testing"
	"time"

	"rillgate/zones"
	"rillgate/zones/simroom"
	"rillgate/zones/zonetest/campaign"

	"github.com/stretchr/testify/require"
)

// TestSameSeedSameHistory is INV-32: a seed gives the same history each time, to the
// last number of the last command.
func TestSameSeedSameHistory(t *testing.T) {
	seen := map[uint64]bool{}
	for seed := range uint64(6) {
		c := campaign.Draw(seed, 1)
		one, two := campaign.Run(c), campaign.Run(c)
		require.Equal(t, one, two, "seed %d", seed)
		require.False(t, seen[one.Hash], "two seeds with one history")
		seen[one.Hash] = true
	}
}

// TestWallClockIsNoSafety is INV-14: a room without faults, and the same room whose wall
// clock steps while a run is under way, seen or unseen, by seconds or weeks, forwards or
// back. Until the step the histories are one; that run ends when it would have ended, or
// earlier; and whatever opens later keeps to all limits, which the checker and the model
// see to.
func TestWallClockIsNoSafety(t *testing.T) {
	kinds := []string{campaign.WallStep, campaign.WallJump, campaign.Wall1970, campaign.Untrusted}
	steps := []float64{-40 * 86400, -86400, -3600, -61, 2, 59, 3600, 86400, 40 * 86400}
	checked := 0
	for seed := uint64(100); seed < 108; seed++ {
		base := campaign.Case{Seed: seed, Days: 1, NoCutOff: seed%2 == 1, Sparse: true}
		was := campaign.Run(&base)
		require.NoError(t, was.Err, "seed %d", seed)
		for n, run := range was.Waters {
			if n%10 != int(seed)%10 || run.Closed == 0 {
				continue
			}
			stepped := base
			stepped.Faults = []campaign.Fault{{
				Kind: kinds[n%len(kinds)], At: run.Opened + (run.Closed-run.Opened)/3,
				For: time.Hour, Value: steps[n%len(steps)],
			}}
			now := campaign.Run(&stepped)
			require.NoError(t, now.Err, "seed %d, %s", seed, &stepped)
			at := slices.IndexFunc(now.Waters, func(r campaign.Watering) bool { return r.Run == run.Run })
			require.GreaterOrEqual(t, at, 0, "run %s of seed %d", run.Run, seed)
			require.Equal(t, run.Opened, now.Waters[at].Opened)
			require.NotZero(t, now.Waters[at].Closed, "seed %d, %s", seed, &stepped)
			require.LessOrEqual(t, now.Waters[at].Closed, run.Closed, "seed %d, %s", seed, &stepped)
			checked++
		}
	}
	require.Greater(t, checked, 20)
}

// TestCloseLeavesAtOnce is INV-26 and INV-27 of the core: what ends all runs leads to
// every close in the same step, whatever else stands. The model looks at each step of
// every seed; here stops, leaks, a lost broker, a failed ledger and an end of the process
// come at openings, so that there is something to close.
func TestCloseLeavesAtOnce(t *testing.T) {
	at := func(kind, subject, other string, hours int, long time.Duration) campaign.Fault {
		return campaign.Fault{Kind: kind, Subject: subject, Other: other, At: time.Duration(hours) * time.Hour, OnOpen: true, Delay: 7 * time.Second, For: long}
	}
	reset := func(hours int) campaign.Fault {
		return campaign.Fault{Kind: campaign.Person, Other: string(zones.OrderReset), Subject: "room", At: time.Duration(hours)*time.Hour - time.Minute}
	}
	sum := 0
	for seed := uint64(200); seed < 206; seed++ {
		c := campaign.Case{Seed: seed, Days: 2, Sparse: true, Faults: []campaign.Fault{
			at(campaign.Person, "", string(zones.OrderStop), 1, 0), reset(6),
			at(string(simroom.InputActive), "floor", "", 7, time.Minute), reset(13),
			at(campaign.BrokerDown, "", "", 14, time.Minute), at(campaign.CleanRestart, "", "", 20, time.Second),
			at(campaign.DiskFails, "", "", 28, time.Minute),
		}}
		r := campaign.Run(&c)
		require.NoError(t, r.Err, "seed %d", seed)
		sum += r.AtOnce
	}
	require.Greater(t, sum, 12)
}

// TestWaterComesBack is INV-31: the network loses everything for 16 hours, so that
// every zone is refused for long; then all faults stop. Watering resumes in time, which
// the run itself sees to, and each zone that met its rule was told of exactly once.
func TestWaterComesBack(t *testing.T) {
	told := 0
	const from, to = 30 * time.Hour, 46 * time.Hour
	for seed := uint64(300); seed < 308; seed++ {
		c := campaign.Case{Seed: seed, Days: 3, CalmDays: 1, Sparse: seed%4 != 0, NoCutOff: seed%2 == 1}
		c.Faults = []campaign.Fault{{Kind: campaign.NetLoss, At: from, For: to - from, Value: 1}}
		r := campaign.Run(&c)
		require.NoError(t, r.Err, "seed %d at %s", seed, r.At)
		require.NotZero(t, r.Calm, "seed %d: nothing was watered after the faults", seed)
		for zone, came := range r.Dry {
			came = slices.DeleteFunc(came, func(at time.Duration) bool { return at < from || at > to+time.Hour })
			require.LessOrEqual(t, len(came), 1, "alarms dry of zone %s in seed %d: %s", zone, seed, r.Dry[zone])
			told += len(came)
		}
	}
	require.Greater(t, told, 6)
}

// TestShrinkMakesSmall plants a fault that takes two crashes to show: grants of the third
// process on reach a minute too far. Of a seed full of other faults few are left, and
// what is printed is a case that shows the same again, and nothing once it is mended.
func TestShrinkMakesSmall(t *testing.T) {
	spoil := func(life int, e zones.Effect) {
		if cmd, ok := e.(*zones.Command); ok && cmd.Open && life >= 3 {
			cmd.UntilMS += 60000
		}
	}
	c := campaign.Draw(7, 3)
	require.Greater(t, len(c.Faults), 60, "a seed with many faults")
	c.Spoil(spoil)
	small, r := campaign.Shrink(c, 200)
	require.Error(t, r.Err)
	require.LessOrEqual(t, len(small.Faults), 4)
	require.NotEmpty(t, r.Tale)

	var again campaign.Case
	require.NoError(t, json.Unmarshal([]byte(small.String()), &again))
	require.NoError(t, campaign.Run(&again).Err, "the case without the planted fault")
	again.Spoil(spoil)
	require.Equal(t, r.Err.Error(), campaign.Run(&again).Err.Error())
}
