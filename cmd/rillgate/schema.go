package main

import (
	"errors"
	"strings"

	"github.com/spf13/cobra"
)

func newSchema() *cobra.Command {
	return &cobra.Command{
		Use:       "schema ROOM|SCHEDULE|GATEWAY",
		Short:     "Print the JSON Schema of a configuration file",
		Args:      cobra.ExactArgs(1),
		ValidArgs: []string{"room", "schedule", "gateway"},
		RunE: job(func(cmd *cobra.Command, args []string) error {
			switch strings.ToLower(strings.TrimSuffix(args[0], ".yaml")) {
			case "room", "schedule", "gateway":
				return errors.New("schema is not built yet")
			}
			return misuse("%q is no configuration file: room, schedule or gateway is due", args[0])
		}),
	}
}
