package main

import (
	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
	"rillgate/zones"
)

func newStop(f *flags) *cobra.Command {
	o := &operator.Order{Kind: zones.OrderStop}
	cmd := orderCommand(f, "stop [ZONE]", "Close a zone, or the room, until a reset", cobra.MaximumNArgs(1), o, zoneArg(o))
	cmd.Long = cmd.Short + ".\n\nA stop is latched: only `rillgate reset` lets water again. It closes valves; it isolates neither water nor current."
	return cmd
}
