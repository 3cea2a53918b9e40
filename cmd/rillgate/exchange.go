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
		"(an id, or controller/terminal/address) and is named by no file. Zone, label and history go on under PROBE; what was\n" +
		"judged of the old one, and its offset, end. It opens no valve, and it counts from its second reading on."
	cmd.Flags().BoolVar(&o.Keep, "keep-offset", false, "it is the same probe at another place, or its offset was measured anew")
	return cmd
}

func newLabel(f *flags) *cobra.Command {
	o := &operator.Order{Kind: zones.OrderLabel}
	return orderCommand(f, "label PROBE TEXT", "Name a probe for people", cobra.ExactArgs(2), o,
		func(args []string) error {
			o.Subject, o.Label = args[0], args[1]
			return nil
		})
}
