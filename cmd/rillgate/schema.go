package main

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"rillgate/configs"
)

func newSchema() *cobra.Command {
	names := []string{"ROOM", "SCHEDULE", "GATEWAY"}
	return &cobra.Command{
		Use:       "schema ROOM|SCHEDULE|GATEWAY",
		Short:     "Print the JSON Schema of a configuration file",
		Args:      cobra.ExactArgs(1),
		ValidArgs: names,
		RunE: job(func(cmd *cobra.Command, args []string) error {
			name := strings.ToUpper(strings.TrimSuffix(args[0], ".yaml"))
			if !slices.Contains(names, name) {
				return misuse("%q is no configuration file: ROOM, SCHEDULE or GATEWAY is due", args[0])
			}
			text, err := configs.Schema(name)
			if err != nil {
				return err
			}
			_, err = cmd.OutOrStdout().Write(text)
			return err
		}),
	}
}
