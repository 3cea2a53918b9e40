package main

import (
	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
	"rillgate/zones"
)

func newAssign(f *flags) *cobra.Command {
	o := &operator.Order{Kind: zones.OrderAssign}
	cmd := orderCommand(f, "assign PROBE ZONE", "Give a probe (its id, controller/terminal/address or serial number) to a zone", cobra.ExactArgs(2), o,
		func(args []string) error {
			o.Subject, o.Zone = args[0], args[1]
			return nil
		})
	cmd.Flags().StringVar(&o.Label, "label", "", "name it for people: `TEXT`")
	return cmd
}
