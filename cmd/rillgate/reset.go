package main

import (
	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
	"rillgate/zones"
)

func newReset(f *flags) *cobra.Command {
	o := &operator.Order{Kind: zones.OrderReset}
	cmd := orderCommand(f, "reset [ZONE | SUPPLY | room | budget ZONE]", "Lift a latch once its cause is gone; opens no valve",
		cobra.MaximumNArgs(2), o, func(args []string) error { return resetArgs(o, args) })
	cmd.Long = cmd.Short + ".\n\n`reset` alone, or `reset room`, lifts the room's latches. `reset budget ZONE` gives a zone\n" +
		"its day's budget back after the ledger was lost. A reset is refused while the cause holds."
	return cmd
}

func resetArgs(o *operator.Order, args []string) error {
	switch {
	case len(args) == 0:
		o.Subject = "room"
	case len(args) == 1 && args[0] == "budget":
		return misuse("reset budget needs a zone")
	case len(args) == 1:
		o.Subject = args[0]
	case args[0] == "budget":
		o.Subject, o.Zone = "budget", args[1]
	default:
		return misuse("reset takes one subject; two words only as in `reset budget ZONE`")
	}
	return nil
}
