package page

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

// The day of the week is said once, and only where it is not today's.
func TestDryingNamesTheDayOnce(t *testing.T) {
	now := time.Date(2027, time.March, 2, 13, 40, 0, 0, time.UTC)
	level := 38.0
	for after, want := range map[time.Duration]string{
		3 * time.Hour: "38 % at about 16:40, 40 min either way", 17 * time.Hour: "38 % at about Wed 06:40, 40 min either way",
		19*time.Hour + 15*time.Minute: "38 % at about Wed 08:55, 40 min either way",
	} {
		at := now.Add(after)
		d := &desk{writing: writing{loc: time.UTC, now: now}}
		require.Equal(t, want, d.drying(&zones.ZoneView{DryLevel: &level, DryAt: &at, DryHalf: 2400}))
	}
}
