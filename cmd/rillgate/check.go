package main

import (
	"errors"

	"github.com/spf13/cobra"
)

func newCheck(_ *flags) *cobra.Command {
	var asJSON bool
	var explain string
	cmd := &cobra.Command{
		Use:   "check [--json] [--explain ZONE]",
		Short: "Read the three files as `run` would, and say the plan in other words",
		Args:  cobra.NoArgs,
		RunE:  job(func(cmd *cobra.Command, _ []string) error { return errors.New("check is not built yet") }),
	}
	jsonFlag(cmd, &asJSON)
	cmd.Flags().StringVar(&explain, "explain", "", "say where each value of this `ZONE` came from")
	return cmd
}
