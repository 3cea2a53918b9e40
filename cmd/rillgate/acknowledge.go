package main

import (
	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
	"rillgate/zones"
)

func newAcknowledge(f *flags) *cobra.Command {
	o := &operator.Order{Kind: zones.OrderAcknowledge}
	return orderCommand(f, "acknowledge [ALARM | PROBE | ZONE]", "Silence an alarm, or all; lets no water", cobra.MaximumNArgs(1), o,
		func(args []string) error {
			if len(args) > 0 {
				o.Subject = args[0]
			}
			return nil
		})
}
