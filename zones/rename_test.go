package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A zone under another name is the same bed: how long it was dry goes on.
func TestRenamedZoneStaysDry(t *testing.T) {
	plan := func(id string) *Plan {
		p := respondPlan()
		p.Zones[0].ID = id
		p.Zones[0].Schedule.Windows[0].Below = 1000 // it never waters
		p.Zones[0].Dry = &DryRule{Below: 38000, For: 20 * time.Minute}
		for i := range p.Probes {
			p.Probes[i].Zone = id
		}
		return p
	}
	g := newRig(t, plan("a"))
	g.run(15*time.Minute, 36)
	require.False(t, g.alarmed(AlarmDry, "a"))
	g.step(&NewPlan{Plan: plan("b")})
	g.run(4*time.Minute, 36)
	require.False(t, g.alarmed(AlarmDry, "b"), "19 minutes")
	g.run(90*time.Second, 36)
	require.True(t, g.alarmed(AlarmDry, "b"), "20 minutes, under two names")
}
