package main

import (
	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
	"rillgate/zones"
)

func newHold(f *flags) *cobra.Command {
	o := &operator.Order{Kind: zones.OrderHold}
	length := durationFlag(defaultHold)
	cmd := orderCommand(f, "hold ZONE [--for 1h]", "Keep water from a zone for a time, at most 24 h", cobra.ExactArgs(1), o,
		func(args []string) error {
			if length > durationFlag(zones.HoldCeiling) {
				return misuse("--for %s is longer than a hold may be (24h)", length.String())
			}
			o.Zone, o.For = args[0], operator.Duration(length)
			return nil
		})
	cmd.Flags().Var(&length, "for", "how long, such as 30m or 2h")
	return cmd
}
