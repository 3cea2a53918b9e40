package main

import (
	"errors"
	"time"

	"github.com/spf13/cobra"
)

// demoOptions are the flags of demo.
type demoOptions struct {
	speed float64
	end   durationFlag
	page  string
}

func newDemo(_ *flags) *cobra.Command {
	o := demoOptions{}
	cmd := &cobra.Command{
		Use:   "demo [--speed 120] [--for 24h] [--page 127.0.0.1:8480]",
		Short: "Show the main job in a simulated room, with nothing else installed",
		Args:  cobra.NoArgs,
		RunE:  job(func(cmd *cobra.Command, _ []string) error { return errors.New("demo is not built yet") }),
	}
	cmd.Flags().Float64Var(&o.speed, "speed", 120, "how many times faster than time")
	cmd.Flags().Var(&o.end, "for", "end after so much simulated time, such as 24h")
	cmd.Flags().StringVar(&o.page, "page", "127.0.0.1:8480", "`ADDRESS` of the page; \"\" for none")
	return cmd
}

var _ = time.Second
