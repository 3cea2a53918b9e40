package main

import (
	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
	"rillgate/zones"
)

func newIgnore(f *flags) *cobra.Command {
	o := &operator.Order{Kind: zones.OrderIgnore}
	var length durationFlag
	cmd := orderCommand(f, "ignore PROBE --for 48h", "Leave a probe out of its zone for a time", cobra.ExactArgs(1), o,
		func(args []string) error {
			o.Subject, o.For = args[0], operator.Duration(length)
			return nil
		})
	cmd.Flags().Var(&length, "for", "how long, such as 48h")
	_ = cmd.MarkFlagRequired("for")
	return cmd
}
