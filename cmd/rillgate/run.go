package main

import (
	"errors"

	"github.com/spf13/cobra"
)

func newRun(_ *flags) *cobra.Command {
	return &cobra.Command{
		Use:   "run",
		Short: "Run the daemon for one room",
		Args:  cobra.NoArgs,
		RunE:  job(func(cmd *cobra.Command, _ []string) error { return errors.New("run is not built yet") }),
	}
}
