//go:build linux

package power

import (
	"context"
	"flag"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/store"
)

var images = flag.Int("power.images", 12, "crash images of an honest card; a quarter of that of each other kind")

func TestMain(m *testing.M) {
	store.ProbeMain() // the daemon starts this program to look at its store
	Main()
	os.Exit(m.Run())
}

// campaign runs one kind of card and says what it came to.
func campaign(t *testing.T, c Case) *Result {
	t.Helper()
	dir, err := os.MkdirTemp("/dev/shm", "rillgate-power-")
	require.NoError(t, err)
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	c.Dir, c.Seed = dir, 1
	c.Each = 4
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second+time.Duration(c.Images)*2*time.Second)
	defer cancel()
	r, err := Run(ctx, c)
	require.NoError(t, err)
	t.Logf("%+v", *r)
	require.Equal(t, c.Images, r.Images)
	return r
}

// A card that keeps its promises loses nothing that a controller was told, nothing
// that a person was told, and never the daemon.
func TestHonestCard(t *testing.T) {
	r := campaign(t, Case{Images: *images})
	require.Zero(t, r.Bad, "%v", r.Violations)
	require.Zero(t, r.Repaired+r.Dead+r.Lost+r.Seen)
	require.Positive(t, r.Watered)
}

// A card that says "written" some flushes before it is: the daemon always starts, and
// starts closed; only what was in those flushes can be missing; where the loss shows,
// the budget is spent.
func TestCardThatLies(t *testing.T) {
	for _, late := range []int{2, 20} {
		r := campaign(t, Case{Images: max(4, *images/4), Late: late})
		require.Zero(t, r.Bad, "%v", r.Violations)
	}
}

// The rig can fail: a daemon whose syncs do nothing, and a file system that does not
// flush the card, lose what was told.
func TestTheRigFindsMissingSyncs(t *testing.T) {
	for _, c := range []Case{{NoSync: true}, {Mount: "barrier=0"}} {
		c.Images = max(4, *images/4)
		require.Positive(t, campaign(t, c).Bad, "%+v", c)
	}
}
