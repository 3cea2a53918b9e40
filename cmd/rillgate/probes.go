package main

import (
	"fmt"
	"slices"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"rillgate/zones"
)

func newProbes(f *flags) *cobra.Command {
	return findProbes(f, oneProbe(f, watchProbes(f, viewCommand(f, "probes", "Show the register of probes",
		func(cmd *cobra.Command, v *zones.View) error {
			return ofZone(cmd, v, func(v *zones.View) error { return printJSON(cmd, v.Probes) })
		},
		func(cmd *cobra.Command, v *zones.View) error {
			return ofZone(cmd, v, func(v *zones.View) error { return showProbes(cmd, v) })
		}))))
}

// ofZone shows a look with the probes of --zone alone, where it is given.
func ofZone(cmd *cobra.Command, v *zones.View, show func(*zones.View) error) error {
	zone, _ := cmd.Flags().GetString("zone")
	if err := zoneIn(v, zone); err != nil {
		return err
	}
	one := *v
	one.Probes = slices.DeleteFunc(slices.Clone(v.Probes), func(p zones.ProbeView) bool { return zone != "" && p.Zone != zone })
	return show(&one)
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
	zone, _ := cmd.Flags().GetString("zone")
	notes(cmd.OutOrStdout(), v, func(id string) bool { return zone == "" || v.Probe(id) != nil })
	return nil
}

func age(seconds *int) string {
	if seconds == nil {
		return "-"
	}
	return (time.Duration(*seconds) * time.Second).String()
}
