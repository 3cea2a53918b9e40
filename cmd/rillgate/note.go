package main

import (
	"strings"

	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
	"rillgate/zones"
)

func newNote(f *flags) *cobra.Command {
	o := &operator.Order{Kind: zones.OrderNote}
	var subject string
	cmd := orderCommand(f, "note TEXT...", "Write a line into the journal", cobra.MinimumNArgs(1), o,
		func(args []string) error {
			o.Note, o.Zone = strings.Join(args, " "), subject
			return nil
		})
	cmd.Flags().StringVar(&subject, "zone", "", "the `ZONE` that it is about")
	return cmd
}
