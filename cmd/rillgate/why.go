package main

import (
	"errors"
	"fmt"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
	"rillgate/zones"
)

func newWhy(f *flags) *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "why [KIND] SUBJECT",
		Short: "Say why: a zone, valve, probe, controller or supply, `room`, or a reason's code",
		Long: "Say why something is as it is, with the evidence: a zone, valve, probe, controller, supply or input by its name, an output\n" +
			"(north/1), a probe's place (north/1/0) or serial number, `room`, `healthy`, or a reason's code. Of two things with one name a zone comes first; a word\n" +
			"before the name says which is meant: `rillgate why valve east`.",
		Args: cobra.RangeArgs(1, 2),
		RunE: job(func(cmd *cobra.Command, args []string) error {
			return f.look(cmd, operator.Request{Kind: operator.AskWhy, Subject: strings.Join(args, " ")}, func(r operator.Reply) error {
				if r.Why == nil {
					return errors.New("read the answer: there is none in the reply")
				}
				if asJSON {
					return printJSON(cmd, r.Why)
				}
				return showWhy(cmd, r.Why)
			})
		}),
	}
	jsonFlag(cmd, &asJSON)
	return cmd
}

func showWhy(cmd *cobra.Command, y *operator.Why) error {
	out := cmd.OutOrStdout()
	fmt.Fprintf(out, "%s %s", y.Kind, y.Subject)
	if y.State != "" {
		fmt.Fprintf(out, ": %s", y.State)
	}
	if y.Reason != "" && y.Reason != "none" {
		fmt.Fprintf(out, " (%s)", y.Reason)
	}
	fmt.Fprintf(out, "\n%s\n", y.Because)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	for _, line := range [][2]string{{"next", y.Next}, {"rule", y.Rule}, {"do", y.Do}} {
		if line[1] != "" {
			fmt.Fprintf(w, "%s:\t%s\n", line[0], line[1])
		}
	}
	for i := range y.Standing {
		fmt.Fprintf(w, "refused by:\t%s\n", standingWords(&y.Standing[i]))
	}
	for _, n := range y.Numbers {
		fmt.Fprintf(w, "%s:\t%s\n", n.Name, n.Value)
	}
	for _, s := range y.Warnings {
		fmt.Fprintf(w, "note:\t%s\n", s)
	}
	return w.Flush()
}

// standingWords is one line for an interlock of the room that stands.
func standingWords(s *zones.StandingView) string {
	text := string(s.Code)
	if s.Latched {
		text += ", latched"
	}
	if s.Since != nil {
		text += " since " + s.Since.Local().Format(time.DateTime)
	}
	return text + ": " + s.Because
}
