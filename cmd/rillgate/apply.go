package main

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
)

func newApply(f *flags) *cobra.Command {
	var req operator.Request
	cmd := &cobra.Command{
		Use:   "apply [--plan HASH]",
		Short: "Put the files on disk, or an earlier plan, in force",
		Args:  cobra.NoArgs,
		RunE: job(func(cmd *cobra.Command, _ []string) error {
			req.Kind = operator.AskApply
			return f.ask(cmd.Context(), req, func(r operator.Reply) error { return showApplied(cmd, r.Applied) })
		}),
	}
	cmd.Flags().StringVar(&req.Plan, "plan", "", "go back to the plan with this `HASH` (see `rillgate plans`)")
	cmd.Flags().StringVar(&req.Note, "note", "", "why, for the journal: `TEXT`")
	return cmd
}

func showApplied(cmd *cobra.Command, a *operator.Applied) error {
	if a == nil {
		return errors.New("read the answer: there is none in the reply")
	}
	if len(a.Problems) > 0 {
		for _, p := range a.Problems {
			fmt.Fprintln(cmd.ErrOrStderr(), p)
		}
		return failed(fmt.Errorf("the plan was rejected; %s stays in force", shortHash(a.Plan)), "`rillgate check` shows each problem where it stands")
	}
	for _, line := range a.Changes {
		fmt.Fprintln(cmd.OutOrStdout(), line)
	}
	fmt.Fprintf(cmd.OutOrStdout(), "in force: %s\n", shortHash(a.Plan))
	return nil
}

// shortHash is enough of a hash to tell plans apart.
func shortHash(h string) string {
	switch {
	case h == "":
		return "no plan"
	case len(h) > 12:
		return h[:12]
	}
	return h
}
