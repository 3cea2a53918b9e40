package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// hear lets a report of a boot come as it was made some time ago.
func (g *rig) hear(boot string, old time.Duration) string {
	e := g.reportOf("north")
	e.Boot = boot
	e.Uptime -= old
	g.step(e)
	return g.room.controlBy["north"].boot
}

// A process that has just begun hears the boot before once more: the true one speaks on,
// and has its word again when the other has been silent for 15 s.
func TestBootThatWasTakenForEnded(t *testing.T) {
	g := rawRig(t, benchPlan(1, 3), NewMemory())
	g.run(40*time.Second, 45)
	require.True(t, g.room.controlBy["north"].ready)
	g.obey = false
	require.Equal(t, "b0", g.hear("b0", 0), "nobody can tell which is the newer")
	for range 15 {
		g.pass(time.Second)
		require.Equal(t, "b0", g.hear("b1", 0))
		g.step(&Tick{})
	}
	require.True(t, g.room.controlBy["north"].online)
	g.pass(time.Second)
	g.step(&Tick{})
	require.False(t, g.room.controlBy["north"].online)
	require.Equal(t, "b1", g.hear("b1", 0))
	require.False(t, g.room.controlBy["north"].ready, "closed first, as after each new boot")
	require.Equal(t, "b1", g.hear("b0", 0), "the other has ended")
	g.obey = true
	g.run(3*time.Second, 45)
	require.True(t, g.room.controlBy["north"].ready)
}

// What is repeated does not run with our clock: it comes by ones, all at once, or slowly.
func TestRepeatedReportsOfABootThatEnded(t *testing.T) {
	for name, old := range map[string]func(i int) time.Duration{
		"one again and again": func(i int) time.Duration { return time.Duration(i) * 2 * time.Second },
		"later and later":     func(i int) time.Duration { return time.Duration(i) * time.Second },
		"sooner and sooner":   func(i int) time.Duration { return time.Hour - time.Duration(i)*time.Second },
	} {
		t.Run(name, func(t *testing.T) {
			g := newRig(t, benchPlan(1, 3))
			g.obey = false
			require.Equal(t, "b2", g.hear("b2", 0))
			for i := range 60 {
				g.pass(2 * time.Second)
				require.Equal(t, "b2", g.hear("b1", old(i)))
				g.step(&Tick{})
			}
			require.False(t, g.room.controlBy["north"].online)
		})
	}
}

// Two reports far apart prove nothing: what lies between them nobody heard.
func TestTwoLoneReportsOfABootThatEnded(t *testing.T) {
	g := newRig(t, benchPlan(1, 3))
	g.obey = false
	require.Equal(t, "b2", g.hear("b2", 0))
	for range 3 {
		g.pass(31 * time.Second)
		g.step(&Tick{})
		require.Equal(t, "b2", g.hear("b1", 0))
	}
}
