package main

import (
	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
	"rillgate/zones"
)

func newShot(f *flags) *cobra.Command {
	o := &operator.Order{Kind: zones.OrderShot}
	var length durationFlag
	var volume volumeFlag
	cmd := orderCommand(f, "shot ZONE [--for 60s | --volume 120mL]", "Water a zone once: by default the shot of its window", cobra.ExactArgs(1), o,
		func(args []string) error {
			o.Zone, o.For, o.VolumeML = args[0], operator.Duration(length), float64(volume)
			return nil
		})
	cmd.Flags().Var(&length, "for", "valve time, such as 60s")
	cmd.Flags().Var(&volume, "volume", "volume a plant, such as 120mL")
	cmd.MarkFlagsMutuallyExclusive("for", "volume")
	return cmd
}
