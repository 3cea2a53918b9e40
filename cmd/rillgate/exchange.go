package main

import (
	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
	"rillgate/zones"
)

func newExchange(f *flags) *cobra.Command {
	o := &operator.Order{Kind: zones.OrderExchange}
	cmd := orderCommand(f, "exchange PROBE [NEW]", "Say that another probe took the place of one", cobra.RangeArgs(1, 2), o,
		func(args []string) error {
			o.Subject = args[0]
			if len(args) > 1 {
				o.With = args[1]
			}
			return nil
		})
	cmd.Long = "Say that another probe took the place of one: what answers at its place now, or NEW, which answers elsewhere\n" +
		"and is named by no file. Zone, label and history go on under PROBE; what was judged of the old one, and its offset, end.\n" +
		"It opens no valve, and it counts from its second reading on. Plug the new one in first: while the old serial number answers\n" +
		"there yet, or nothing does, it is refused. " + probeWords
	cmd.Flags().BoolVar(&o.Keep, "keep-offset", false, "it is the same probe at another place, or its offset was measured anew; one that was dropped is added again")
	cmd.Flags().BoolVar(&o.Anyway, "anyway", false, "whatever serial numbers say: the new one has none of its own, or says the same; or it is not plugged in yet")
	return cmd
}

// probeWords says how probes are named in every command.
const probeWords = "A probe goes by its id, its place\n(controller/terminal/address) or its serial number."

func newLabel(f *flags) *cobra.Command {
	o := &operator.Order{Kind: zones.OrderLabel}
	return orderCommand(f, "label PROBE TEXT", "Name a probe for people", cobra.ExactArgs(2), o,
		func(args []string) error {
			o.Subject, o.Label = args[0], args[1]
			return nil
		})
}
