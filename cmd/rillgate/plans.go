package main

import (
	"fmt"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
)

func newPlans(f *flags) *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "plans",
		Short: "List the plans that were in force",
		Args:  cobra.NoArgs,
		RunE: job(func(cmd *cobra.Command, _ []string) error {
			return f.look(cmd, operator.Request{Kind: operator.AskPlans}, func(r operator.Reply) error {
				if asJSON {
					return printJSON(cmd, r.Plans)
				}
				return showPlans(cmd, r.Plans)
			})
		}),
	}
	jsonFlag(cmd, &asJSON)
	return cmd
}

func showPlans(cmd *cobra.Command, plans []operator.Plan) error {
	w := tabwriter.NewWriter(cmd.OutOrStdout(), 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "PLAN\tSINCE\tBY\tNOTE")
	for _, p := range plans {
		hash := shortHash(p.Hash)
		if p.InForce {
			hash += " (in force)"
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\n", hash, p.Since.Format(time.DateTime), orDash(p.By), orDash(p.Note))
	}
	return w.Flush()
}
