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
