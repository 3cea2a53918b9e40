package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"rillgate/daemon"
	"rillgate/daemon/history"
	"rillgate/daemon/operator"
	"rillgate/store"
)

func newHistory(f *flags) *cobra.Command {
	var ask history.Ask
	var asCSV bool
	var picture string
	cmd := &cobra.Command{
		Use:   "history [--zone ZONE | --probe PROBE] [--from TIME] [--to TIME] --csv | --picture FILE.svg",
		Short: "Give the past as a table for a spreadsheet, or as a picture",
		Long: "With --csv: print a line for each minute of each zone and probe, and one for each run, as CSV (RFC 4180). The header bears\n" +
			"the units and the room's time zone; an empty cell is a number that is not known. Older than a week: a line for each five\n" +
			"minutes. With --picture: draw the last days of one zone or probe, as FILE.svg or FILE.html.\n" +
			"A TIME is a date (2027-03-02), \"2027-03-02 06:30\" on the room's clock, RFC 3339 with an offset, today or yesterday; --to a\n" +
			"date is its end. Without them: the last 24 h, in a picture 72 h.",
		Args: cobra.NoArgs,
		RunE: job(func(cmd *cobra.Command, _ []string) error {
			switch {
			case picture != "":
				return f.drawPast(cmd, ask, picture)
			case asCSV:
				return f.past(cmd, ask, cmd.OutOrStdout())
			}
			return misuse("--csv or --picture FILE is due")
		}),
	}
	cmd.Flags().StringVar(&ask.Zone, "zone", "", "one `ZONE`")
	cmd.Flags().StringVar(&ask.Probe, "probe", "", "one `PROBE`: its id, place or serial number, of now or of the past")
	cmd.Flags().StringVar(&ask.From, "from", "", "begin at this `TIME`")
	cmd.Flags().StringVar(&ask.To, "to", "", "end before this `TIME`")
	cmd.Flags().BoolVar(&asCSV, "csv", false, "print a table")
	cmd.Flags().StringVar(&picture, "picture", "", "draw a `FILE`.svg or FILE.html")
	cmd.MarkFlagsMutuallyExclusive("zone", "probe")
	cmd.MarkFlagsMutuallyExclusive("csv", "picture")
	return cmd
}

// drawPast writes a picture into a file.
func (f *flags) drawPast(cmd *cobra.Command, ask history.Ask, path string) error {
	switch strings.ToLower(filepath.Ext(path)) {
	case ".svg":
		ask.Picture = history.AsSVG
	case ".html", ".htm":
		ask.Picture = history.AsHTML
	default:
		return misuse("--picture takes a file that ends in .svg or .html, not %s", path)
	}
	if ask.Zone == "" && ask.Probe == "" {
		return misuse("a picture shows one zone or one probe: --zone ZONE or --probe PROBE")
	}
	var drawn bytes.Buffer
	if err := f.past(cmd, ask, &drawn); err != nil {
		return err
	}
	if err := os.WriteFile(path, drawn.Bytes(), 0o644); err != nil {
		return failed(fmt.Errorf("write the picture: %w", err), "name a file in a directory that exists and that you may write to")
	}
	fmt.Fprintf(cmd.OutOrStdout(), "wrote %s\n", path)
	return nil
}

// past asks the running daemon, which has the newest in memory, else reads the store.
func (f *flags) past(cmd *cobra.Command, ask history.Ask, to io.Writer) error {
	_, err := f.fetch(cmd.Context(), operator.Request{Kind: operator.AskHistory, History: &ask}, to)
	return f.orStore(err, func(dir string, s *store.Store) error {
		loaded, err := lastPlan(s)
		if err != nil {
			return err
		}
		memory, err := lastMemory(dir, s)
		if err != nil {
			return err
		}
		now, last := time.Now(), memory.Wall.Add(time.Minute)
		if last.After(now) || ask.From == "" && ask.To == "" {
			now = last // this box's clock is behind the daemon's; or the last that there is was asked for
		}
		fmt.Fprintln(cmd.ErrOrStderr(), "no daemon runs; "+recordedAt(memory.Wall))
		return aside(to, func(w io.Writer) error {
			err := daemon.HistoryOf(s, loaded.Plan, now, ask, w)
			return errors.Join(err, s.Close())
		})
	})
}

// aside lets a table be made whole before it is printed: whoever reads it may take long, and
// a daemon that starts meanwhile needs the store.
func aside(to io.Writer, table func(w io.Writer) error) error {
	file, err := os.CreateTemp("", "rillgate-*.csv")
	if err != nil {
		return err
	}
	defer file.Close()
	if err := os.Remove(file.Name()); err != nil {
		return err
	}
	if err := table(file); err != nil {
		return err
	}
	if _, err := file.Seek(0, io.SeekStart); err != nil {
		return err
	}
	_, err = io.Copy(to, file)
	return err
}
