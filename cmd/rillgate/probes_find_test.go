package main

import (
	"bytes"
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
	"rillgate/zones/dip"
)

func TestFindRefusesAnUnknownZone(t *testing.T) {
	t.Parallel()
	var out bytes.Buffer
	s := &seeker{out: &out, errs: &out, finder: dip.Finder{Zone: "attic"}}
	err := s.follow(t.Context(), time.Millisecond, func(context.Context) (*zones.View, error) { return seen(time.Now(), 1, zones.ProbeGood), nil })
	require.ErrorContains(t, err, "no zone is named attic")
	require.Empty(t, out.String())
}

func TestFindTakesAZone(t *testing.T) {
	t.Parallel()
	cmd := newProbes(&flags{state: t.TempDir()})
	cmd.SetArgs([]string{"--find", "--zone", "attic"})
	cmd.SetOut(&bytes.Buffer{})
	cmd.SetErr(&bytes.Buffer{})
	err := cmd.ExecuteContext(t.Context())
	require.ErrorContains(t, err, "no rillgate answers", "and not that it does not go with --find")
}

// The table of one zone shows its probes, and what does not fit of those alone.
func TestProbesOfAZone(t *testing.T) {
	t.Parallel()
	v := seen(time.Now(), 1, zones.ProbeGood)
	v.Zones = append(v.Zones, zones.ZoneView{ID: "west"})
	w1 := v.Probes[0]
	w1.ID, w1.Zone, w1.Place.Address, w1.Serial = "w1", "west", "7", "SN-7"
	v.Probes = append(v.Probes, w1)
	v.Alarms = []zones.AlarmView{{Code: zones.FindingProbeMoved, Subject: "e1", Because: "e1 went"}, {Code: zones.FindingProbeMoved, Subject: "w1", Because: "w1 went"}}
	table := func(zone string) (string, error) {
		cmd := newProbes(&flags{})
		var out bytes.Buffer
		cmd.SetOut(&out)
		require.NoError(t, cmd.Flags().Set("zone", zone))
		err := ofZone(cmd, v, func(v *zones.View) error { return showProbes(cmd, v) })
		return out.String(), err
	}
	west, err := table("west")
	require.NoError(t, err)
	require.Contains(t, west, "SN-7")
	require.Contains(t, west, "w1 went")
	require.NotContains(t, west, "e1")
	all, err := table("")
	require.NoError(t, err)
	require.Contains(t, all, "e1 went")
	_, err = table("attic")
	require.ErrorContains(t, err, "no zone is named attic")
}
