package main

import (
	"errors"

	"github.com/spf13/cobra"
)

func newReplay(_ *flags) *cobra.Command {
	var trace, out string
	cmd := &cobra.Command{
		Use:   "replay --trace FILE.jsonl [--out FILE.jsonl]",
		Short: "Run the core on a recorded trace, in virtual time",
		Args:  cobra.NoArgs,
		RunE:  job(func(cmd *cobra.Command, _ []string) error { return errors.New("replay is not built yet") }),
	}
	cmd.Flags().StringVar(&trace, "trace", "", "the trace: `FILE` of JSON lines, - for standard input")
	cmd.Flags().StringVar(&out, "out", "", "write what follows from it to this `FILE`, not to standard output")
	_ = cmd.MarkFlagRequired("trace")
	return cmd
}
