package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A controller that was silent through the boot hold is ready with its second report of
// this boot, though the first already shows all closed under our epoch.
func TestReadyWithTheSecondReport(t *testing.T) {
	g := startRig(t, benchPlan(1, 3), NewMemory(), false)
	g.quiet(40 * time.Second)
	acted := func() {
		for _, e := range g.got {
			if c, ok := e.(*Command); ok {
				g.epoch, g.seq = c.Epoch, c.Seq
			}
		}
	}
	acted()
	require.NotZero(t, g.epoch, "everything was told to close")
	g.step(g.reportOf("north"))
	require.False(t, g.room.controlBy["north"].ready, "one report may be a late one of a controller that is gone")
	acted() // at a new boot all is told to close once more
	g.pass(time.Second)
	g.step(g.reportOf("north"))
	require.True(t, g.room.controlBy["north"].ready)
}

func TestALatchIsDroppedByItsOwnCode(t *testing.T) {
	all := []LatchMemory{{Code: CrashLoop}, {Code: LeakFound}, {Code: StoppedByPerson}, {Code: ValveMismatch}}
	for i, l := range all {
		left := dropLatch(append([]LatchMemory(nil), all...), l.Code)
		require.Len(t, left, len(all)-1, "%s", l.Code)
		require.Nil(t, hasLatch(left, l.Code))
		require.NotNil(t, hasLatch(left, all[(i+1)%len(all)].Code))
	}
}

// A contact that says the supply is low, and that no supply names, binds every supply.
func TestLowInputThatNoSupplyNames(t *testing.T) {
	for _, named := range []bool{true, false} {
		p := inputPlan()
		if !named {
			p.Supplies[0].Low = ""
		}
		g := newRig(t, p)
		g.hearInputs(map[string]bool{"low": true})
		g.run(20*time.Second, 39)
		require.Equal(t, SupplyIsLow, g.zone("a").Reason, "named %t", named)
	}
}
