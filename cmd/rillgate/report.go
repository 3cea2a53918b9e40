package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
	days "rillgate/daemon/report"
)

func newReport(f *flags) *cobra.Command {
	var ask days.Ask
	var week, out string
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "report [--day DATE | --week DATE] [--zone ZONE] [--json | --out FILE.html]",
		Short: "Give a day's or week's numbers",
		Long: "Give a day's or a week's numbers for each zone: shots, water, peak, floor, dry-back, pore EC, uptake, what was refused,\n" +
			"alarms, drain samples and uniformity. A day is a date of the room's time zone; a week goes from Monday to Sunday.\n" +
			"Without --day and --week: today, so far. docs/report.md says what each number is.",
		Args: cobra.NoArgs,
		RunE: job(func(cmd *cobra.Command, _ []string) error {
			if cmd.Flags().Changed("week") {
				ask.Day, ask.Week = week, true
			}
			return f.look(cmd, operator.Request{Kind: operator.AskReport, Report: &ask}, func(r operator.Reply) error {
				if r.Report == nil {
					return errors.New("read the answer: there is no report in the reply")
				}
				return showReport(cmd, r.Report, out, asJSON)
			})
		}),
	}
	cmd.Flags().StringVar(&ask.Day, "day", "", "a `DATE` (2027-03-02), today or yesterday")
	cmd.Flags().StringVar(&week, "week", "", "the week of a `DATE`, today or yesterday")
	cmd.Flags().StringVar(&ask.Zone, "zone", "", "one `ZONE`")
	cmd.Flags().StringVar(&out, "out", "", "write a document to read or print (`FILE`.html)")
	jsonFlag(cmd, &asJSON)
	cmd.MarkFlagsMutuallyExclusive("day", "week")
	cmd.MarkFlagsMutuallyExclusive("json", "out")
	return cmd
}

func showReport(cmd *cobra.Command, r *days.Report, out string, asJSON bool) error {
	switch {
	case asJSON:
		return printJSON(cmd, r)
	case out == "":
		return r.Text(cmd.OutOrStdout())
	}
	if ext := strings.ToLower(filepath.Ext(out)); ext != ".html" && ext != ".htm" {
		return misuse("--out takes a file that ends in .html, not %s", out)
	}
	var text bytes.Buffer
	if err := r.HTML(&text); err != nil {
		return err
	}
	if err := os.WriteFile(out, text.Bytes(), 0o644); err != nil {
		return failed(fmt.Errorf("write the report: %w", err), "name a file in a directory that exists and that you may write to")
	}
	fmt.Fprintf(cmd.OutOrStdout(), "wrote %s; days: %d\n", out, len(r.Days))
	return nil
}
