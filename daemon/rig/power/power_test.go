//go:build linux

package power

import (
	"context"
	"flag"
	"os"
	"os/exec"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/store"
)

// few is how many images a plain `go test` makes: only to see that the rig works.
const few = 8

var images = flag.Int("power.images", few, "crash images of an honest card; with more than 8, a quarter of that of each other kind too")

// many skips what a plain `go test` has no time for.
func many(t *testing.T) {
	t.Helper()
	if *images <= few {
		t.Skip("some minutes of work: -power.images 200")
	}
}

// need skips on a machine that cannot do it, or fails where every tool must be there.
func need(t *testing.T) {
	t.Helper()
	missing := ""
	if os.Geteuid() != 0 {
		missing = "root, to mount"
	}
	for _, path := range []string{"/dev/fuse", "/dev/loop-control"} {
		if _, err := os.Stat(path); err != nil {
			missing = path
		}
	}
	for _, program := range []string{"mkfs.ext4", "e2fsck"} {
		if _, err := exec.LookPath(program); err != nil {
			missing = program + " (package e2fsprogs)"
		}
	}
	if missing == "" {
		return
	}
	require.NotEqual(t, "1", os.Getenv("RILLGATE_REQUIRE_TOOLS"), "there is no %s", missing)
	t.Skip("there is no " + missing)
}

func TestMain(m *testing.M) {
	store.ProbeMain() // the daemon starts this program to look at its store
	Main()
	os.Exit(m.Run())
}

// campaign runs one kind of card and says what it came to.
func campaign(t *testing.T, c Case) *Result {
	t.Helper()
	need(t)
	dir, err := os.MkdirTemp("/dev/shm", "rillgate-power-")
	require.NoError(t, err)
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	c.Dir, c.Seed = dir, c.Seed+1
	c.Each = 4
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute+time.Duration(c.Images)*4*time.Second)
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
// the budget is spent. Over all images some must show a loss, else the card did not lie
// and nothing was shown: a few more rounds wait for one.
func TestCardThatLies(t *testing.T) {
	many(t)
	hurt := 0
	for round := 0; round == 0 || hurt == 0 && round < 3; round++ {
		for _, late := range []int{2, 20} {
			r := campaign(t, Case{Images: max(lyingLeast, *images/4), Late: late, Seed: uint64(round)})
			require.Zero(t, r.Bad, "%v", r.Violations)
			hurt += r.Hurt
		}
	}
	require.Positive(t, hurt, "no image misses anything that was told, on none counts a budget as spent")
}

// lyingLeast is how many images of each lying card are looked at: of 40 that lie by two
// flushes six lacked something.
const lyingLeast = 12

// The rig can fail: a daemon whose syncs do nothing, and a file system that does not
// flush the card, lose what was told.
func TestTheRigFindsMissingSyncs(t *testing.T) {
	many(t)
	for _, c := range []Case{{NoSync: true}, {Mount: "barrier=0"}} {
		c.Images = max(4, *images/4)
		require.Positive(t, campaign(t, c).Bad, "%+v", c)
	}
}
