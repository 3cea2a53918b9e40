package main

import (
	"time"

	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
	"rillgate/zones"
)

// longestSoak is how long a soak may be spread.
const longestSoak = 24 * time.Hour

func newSoak(f *flags) *cobra.Command {
	o := &operator.Order{Kind: zones.OrderSoak}
	var volume volumeFlag
	var over durationFlag
	var end bool
	cmd := orderCommand(f, "soak ZONE --volume 2L [--over 3h]", "Give a zone a volume a plant, in runs with rests, under its limits of soaks", cobra.ExactArgs(1), o,
		func(args []string) error {
			switch {
			case !end && volume == 0:
				return misuse("say how much each plant gets: --volume 2L")
			case time.Duration(over) > longestSoak:
				return misuse("--over %s is longer than a soak may last (24h)", over.String())
			}
			o.Zone, o.VolumeML, o.For = args[0], float64(volume), operator.Duration(over)
			if end {
				o.Subject = zones.SoakEnd
			}
			return nil
		})
	cmd.Long = "Give a zone a volume for each plant: wet up a new crop, or flush a bed. It comes in as few runs as `limits.soak` in room.yaml allows,\n" +
		"with the zone's rest between them at least; with --over, spread evenly over that time. Meanwhile the zone's own windows wait. It ends by\n" +
		"itself: when all is given, at its own max_moisture, or by whatever else ends a run. It does not survive a restart of the daemon."
	cmd.Flags().Var(&volume, "volume", "volume a plant, such as 2L")
	cmd.Flags().Var(&over, "over", "spread it over this time, such as 3h")
	cmd.Flags().BoolVar(&end, "end", false, "end the zone's soak, and close what it has open")
	cmd.MarkFlagsMutuallyExclusive("end", "volume")
	cmd.MarkFlagsMutuallyExclusive("end", "over")
	return cmd
}
