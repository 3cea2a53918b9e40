package main

import (
	"fmt"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"rillgate/zones"
)

func newProbes(f *flags) *cobra.Command {
	return findProbes(f, oneProbe(f, watchProbes(f, viewCommand(f, "probes", "Show the register of probes",
		func(cmd *cobra.Command, v *zones.View) error { return printJSON(cmd, v.Probes) }, showProbes))))
}

func showProbes(cmd *cobra.Command, v *zones.View) error {
	w := tabwriter.NewWriter(cmd.OutOrStdout(), 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "PROBE\tPLACE\tZONE\tQUALITY\tMOISTURE\tEC\tPORE EC\tTEMPERATURE\tAGE\tSERIAL\tLABEL\tBECAUSE")
	for i := range v.Probes {
		p := &v.Probes[i]
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", orDash(p.ID), p.Place, orDash(p.Zone), p.Quality,
			number(p.Moisture, "%.1f %%"), number(p.EC, "%.2f mS/cm"), number(p.PoreEC, "%.1f mS/cm"), number(p.Temperature, "%.1f C"), age(p.AgeSeconds), printable(orDash(p.Serial)), orDash(p.Label), printable(orDash(p.Because)))
	}
	if err := w.Flush(); err != nil {
		return err
	}
	notes(cmd.OutOrStdout(), v, func(string) bool { return true })
	return nil
}

func age(seconds *int) string {
	if seconds == nil {
		return "-"
	}
	return (time.Duration(*seconds) * time.Second).String()
}
