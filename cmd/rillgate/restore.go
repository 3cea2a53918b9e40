package main

import (
	"fmt"
	"path/filepath"

	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
)

func newRestore(f *flags) *cobra.Command {
	var note string
	cmd := &cobra.Command{
		Use:   "restore FILE",
		Short: "Put a backup in the place of the running daemon's store",
		Args:  cobra.ExactArgs(1),
		RunE: job(func(cmd *cobra.Command, args []string) error {
			path, err := filepath.Abs(args[0])
			if err != nil {
				return fmt.Errorf("find %s: %w", args[0], err)
			}
			return f.ask(cmd.Context(), operator.Request{Kind: operator.AskRestore, File: path, Note: note}, func(r operator.Reply) error {
				for _, line := range r.Applied.Changes {
					fmt.Fprintln(cmd.OutOrStdout(), line)
				}
				return nil
			})
		}),
	}
	cmd.Flags().StringVar(&note, "note", "", "why, for the journal: `TEXT`")
	return cmd
}
