package main

import (
	"fmt"

	"github.com/spf13/cobra"
)

// unbuilt is a command that is promised and not there yet. It takes anything and
// says so, so that no script mistakes silence for work done.
func unbuilt(name, short string) *cobra.Command {
	return &cobra.Command{
		Use:                name,
		Short:              short + " (not built yet)",
		DisableFlagParsing: true,
		RunE: job(func(cmd *cobra.Command, args []string) error {
			for _, a := range args {
				if a == "--help" || a == "-h" {
					return cmd.Help()
				}
			}
			return fmt.Errorf("%s is not built yet", name)
		}),
	}
}
