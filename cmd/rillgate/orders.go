package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
	"rillgate/zones"
)

// orderCommand makes a command that gives one order and prints the answer. fill
// turns the arguments into the order.
func orderCommand(f *flags, use, short string, args cobra.PositionalArgs, o *operator.Order, fill func(args []string) error) *cobra.Command {
	cmd := &cobra.Command{Use: use, Short: short, Args: args}
	cmd.RunE = job(func(cmd *cobra.Command, args []string) error {
		if fill != nil {
			if err := fill(args); err != nil {
				return err
			}
		}
		return give(cmd, f, o)
	})
	if o.Kind != zones.OrderNote {
		cmd.Flags().StringVar(&o.Note, "note", "", "why, for the journal: `TEXT`")
	}
	return cmd
}

// give sends an order; a refusal is an error with its reason.
func give(cmd *cobra.Command, f *flags, o *operator.Order) error {
	return f.ask(cmd.Context(), operator.Request{Kind: operator.AskOrder, Order: o}, func(r operator.Reply) error {
		switch {
		case r.Answer == nil:
			return fmt.Errorf("read the answer: there is none in the reply")
		case r.Answer.Accepted:
			fmt.Fprintln(cmd.OutOrStdout(), r.Answer.Because)
			return nil
		}
		return refusal(r.Answer)
	})
}

// refusal is the error of an order that was refused. Only a code can be explained:
// one that is none says all in its sentence.
func refusal(a *zones.Answer) error {
	if _, known := a.Reason.Explain(); !known {
		return failed(fmt.Errorf("refused: %s", a.Because), "")
	}
	return failed(fmt.Errorf("refused (%s): %s", a.Reason, a.Because), "`rillgate why "+string(a.Reason)+"` explains the code")
}

// zoneArg puts the only argument into the order's zone.
func zoneArg(o *operator.Order) func([]string) error {
	return func(args []string) error {
		if len(args) > 0 {
			o.Zone = args[0]
		}
		return nil
	}
}
