package main

import (
	"fmt"
	"strconv"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
	"rillgate/zones"
)

func newZones(f *flags) *cobra.Command {
	return viewCommand(f, "zones", "Show the zones: moisture, state and why",
		func(cmd *cobra.Command, v *zones.View) error { return printJSON(cmd, v.Zones) }, showZones)
}

func showZones(cmd *cobra.Command, v *zones.View) error {
	w := tabwriter.NewWriter(cmd.OutOrStdout(), 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "ZONE\tMOISTURE\tPROBES\tSTATE\tREASON\tWINDOW\tUSED\tWALK\tBECAUSE")
	for i := range v.Zones {
		z := &v.Zones[i]
		counting := strconv.Itoa(z.Counting)
		if z.State == notRunning {
			counting = "-"
		}
		fmt.Fprintf(w, "%s\t%s\t%s/%d\t%s\t%s\t%s\t%s\t%s\t%s\n", z.ID, number(z.Moisture, "%.1f %%"), counting, z.Assigned,
			z.State, z.Reason, orDash(z.Window), used(z), walkedOn(z), z.Because)
	}
	if err := w.Flush(); err != nil || v.Healthy == nil {
		return err
	}
	_, err := fmt.Fprintln(cmd.OutOrStdout(), "healthy output: "+operator.HealthyWords(v.Healthy))
	return err
}

// used is the day's valve time of its limit. Where what was given is not known, all of it
// counts as used.
func used(z *zones.ZoneView) string {
	if z.BudgetSpent {
		return fmt.Sprintf("spent/%.0f s", z.LimitSeconds)
	}
	return fmt.Sprintf("%.0f/%.0f s", z.UsedSeconds, z.LimitSeconds)
}

// walkedOn says when a walk has found the zone wired as it is, or that none has.
func walkedOn(z *zones.ZoneView) string {
	switch {
	case z.WalkedAt != nil:
		return z.WalkedAt.Format(time.DateOnly)
	case z.NotWalked != "":
		return "not walked"
	}
	return "-"
}
