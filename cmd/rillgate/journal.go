package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"rillgate/daemon"
	"rillgate/daemon/operator"
)

func newJournal(f *flags) *cobra.Command {
	req := operator.Request{Kind: operator.AskJournal}
	var asJSON, asTrace bool
	cmd := &cobra.Command{
		Use:   "journal [--follow] [--trace]",
		Short: "Show what happened",
		Args:  cobra.NoArgs,
		RunE: job(func(cmd *cobra.Command, _ []string) error {
			if asTrace {
				return showTrace(cmd, f)
			}
			return f.look(cmd, req, func(r operator.Reply) error { return showLines(cmd, r.Lines, asJSON) })
		}),
	}
	cmd.Flags().IntVarP(&req.N, "lines", "n", 50, "at most so many of the newest")
	cmd.Flags().Uint64Var(&req.From, "from", 0, "begin at this sequence number")
	cmd.Flags().BoolVar(&req.Follow, "follow", false, "go on as it grows")
	cmd.Flags().BoolVar(&asTrace, "trace", false, "print what came in, as a trace for `rillgate replay`")
	cmd.MarkFlagsMutuallyExclusive("trace", "follow")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON lines")
	return cmd
}

// showTrace asks the daemon, which has the newest in memory, or reads what one left.
func showTrace(cmd *cobra.Command, f *flags) error {
	_, err := f.fetch(cmd.Context(), operator.Request{Kind: operator.AskTrace}, cmd.OutOrStdout())
	if !errors.Is(err, operator.ErrNotRunning) {
		return err
	}
	dir, err := f.stateDir()
	if err != nil {
		return err
	}
	return daemon.KeptTrace(cmd.Context(), dir, cmd.OutOrStdout())
}

func showLines(cmd *cobra.Command, lines []operator.Line, asJSON bool) error {
	if asJSON {
		enc := json.NewEncoder(cmd.OutOrStdout())
		for i := range lines {
			if err := enc.Encode(&lines[i]); err != nil {
				return err
			}
		}
		return nil
	}
	for i := range lines {
		fmt.Fprintln(cmd.OutOrStdout(), sentence(&lines[i]))
	}
	return nil
}

// sentence is one line of the journal for people.
func sentence(l *operator.Line) string {
	parts := []string{l.At.Local().Format(time.DateTime), l.Kind}
	for _, s := range []string{l.Zone, l.Probe, l.Run, string(l.Reason)} {
		if s != "" && s != "none" {
			parts = append(parts, s)
		}
	}
	if l.Because != "" {
		parts = append(parts, "-", l.Because)
	}
	if l.By != "" {
		parts = append(parts, "(by "+l.By+")")
	}
	if l.Note != "" {
		parts = append(parts, "["+l.Note+"]")
	}
	return strings.Join(parts, " ")
}
