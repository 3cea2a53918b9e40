package main

import (
	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
	"rillgate/zones"
)

func newRelease(f *flags) *cobra.Command {
	o := &operator.Order{Kind: zones.OrderRelease}
	return orderCommand(f, "release ZONE", "End a zone's hold", cobra.ExactArgs(1), o, zoneArg(o))
}
