package main

import (
	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
	"rillgate/zones"
)

func newClock(f *flags) *cobra.Command {
	o := &operator.Order{Kind: zones.OrderClockTrust}
	clock := &cobra.Command{Use: "clock", Short: "Say that the box's clock is right", Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error { return misuse("clock needs `trust`") }}
	clock.AddCommand(orderCommand(f, "trust", "Trust the clock by hand until its next step", cobra.NoArgs, o, nil))
	return clock
}
