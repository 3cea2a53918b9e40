package publish

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

// A number that comes back within its pace is held back; until it is told, nobody is
// told that it is good. When it goes, its quality goes first.
func TestQualityIsNeverToldWithoutItsNumber(t *testing.T) {
	r := newRig(t)
	r.update()
	moisture, z := r.view.Zones[0].Moisture, &r.view.Zones[0]
	requirePaired := func() {
		t.Helper()
		require.Equal(t, r.standingAt("zone-east/quality") != "none", r.standingAt("zone-east/moisture") != "")
	}
	z.Moisture, z.Quality = nil, zones.QualityNone
	r.mono += 2 * time.Second
	lines := r.told(func() { r.pub.Update(&Snapshot{View: r.view}) })
	lost, gone := slices.Index(lines, device+"zone-east/quality=none"), slices.Index(lines, device+"zone-east/moisture=")
	require.True(t, lost >= 0 && lost < gone, "%v", lines)
	requirePaired()
	z.Moisture, z.Quality = moisture, zones.QualityGood
	for range 12 {
		r.mono += time.Second
		r.pub.Update(&Snapshot{View: r.view})
		requirePaired()
	}
	require.Equal(t, "good", r.standingAt("zone-east/quality"))
	r.check()
}
