package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Ours rises above what a report of the boot hold bears, as far as an epoch is left for the
// starts to come. One report that says more takes no epoch: the room latches, and is free when the
// controller says otherwise.
func TestNoEpochIsLeftAbove(t *testing.T) {
	for _, c := range []struct {
		epoch uint32
		taken bool
	}{{topEpoch, true}, {topEpoch + 1, false}, {1<<31 - 1, false}} {
		g := rawRig(t, benchPlan(1, 2), NewMemory())
		r := g.reportOf("north")
		r.Epoch, r.Seq = c.epoch, 5
		g.step(r)
		require.Equal(t, c.taken, g.room.epoch == c.epoch+1, "%d", c.epoch)
		require.Less(t, g.room.epoch, uint32(1<<31))
		require.Equal(t, !c.taken, hasLatch(g.room.mem.Latches, SecondGateway) != nil)
		if c.taken {
			continue
		}
		require.NotNil(t, g.room.alarm(SecondGateway, "bay"))
		a := g.order(Order{ID: "r1", Kind: OrderReset, Subject: "room"})
		require.False(t, a.Accepted)
		require.Contains(t, a.Because, "no epoch is left above that")
		g.run(time.Minute, 45) // it says otherwise
		require.True(t, g.order(Order{ID: "r2", Kind: OrderReset, Subject: "room"}).Accepted)
		require.True(t, g.order(Order{ID: "r3", Kind: OrderReset, Subject: "budget", Zone: "a"}).Accepted)
		require.NotEmpty(t, g.commands(g.run(2*time.Minute, 35), true))
	}
}
