package main

import (
	"errors"
	"fmt"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
)

func newWhy(f *flags) *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "why SUBJECT",
		Short: "Say why: a zone, valve, probe, controller or supply, `room`, or a reason's code",
		Args:  cobra.ExactArgs(1),
		RunE: job(func(cmd *cobra.Command, args []string) error {
			return f.look(cmd, operator.Request{Kind: operator.AskWhy, Subject: args[0]}, func(r operator.Reply) error {
				if r.Why == nil {
					return errors.New("read the answer: there is none in the reply")
				}
				if asJSON {
					return printJSON(cmd, r.Why)
				}
				return showWhy(cmd, r.Why)
			})
		}),
	}
	jsonFlag(cmd, &asJSON)
	return cmd
}

func showWhy(cmd *cobra.Command, y *operator.Why) error {
	out := cmd.OutOrStdout()
	fmt.Fprintf(out, "%s %s", y.Kind, y.Subject)
	if y.State != "" {
		fmt.Fprintf(out, ": %s", y.State)
	}
	if y.Reason != "" && y.Reason != "none" {
		fmt.Fprintf(out, " (%s)", y.Reason)
	}
	fmt.Fprintf(out, "\n%s\n", y.Because)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	for _, line := range [][2]string{{"next", y.Next}, {"rule", y.Rule}, {"do", y.Do}} {
		if line[1] != "" {
			fmt.Fprintf(w, "%s:\t%s\n", line[0], line[1])
		}
	}
	for _, n := range y.Numbers {
		fmt.Fprintf(w, "%s:\t%s\n", n.Name, n.Value)
	}
	for _, s := range y.Warnings {
		fmt.Fprintf(w, "note:\t%s\n", s)
	}
	return w.Flush()
}
