package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
	days "rillgate/daemon/report"
	"rillgate/zones"
	"rillgate/zones/substrate"
)

// catchFlags are what `uniformity` is told.
type catchFlags struct {
	volumes, file, unit, note string
	asJSON                    bool
}

func newUniformity(f *flags) *cobra.Command {
	var c catchFlags
	cmd := &cobra.Command{
		Use:   "uniformity ZONE [--volumes 47,42,... | --file FILE] [--unit mL]",
		Short: "Weigh how evenly the emitters give: enter a catch test, or show the kept one",
		Long: "Put one vessel under each of at least 4 emitters, better 18, spread over the zone; open the valve for a while; enter the\n" +
			"volumes. They are kept with the zone. Without volumes: what was kept.",
		Args: cobra.ExactArgs(1),
		RunE: job(func(cmd *cobra.Command, args []string) error {
			if c.volumes == "" && c.file == "" {
				return showKeptCatch(cmd, f, args[0], c.asJSON)
			}
			return enterCatch(cmd, f, args[0], &c)
		}),
	}
	cmd.Flags().StringVar(&c.volumes, "volumes", "", "what each emitter gave: `47,42,...`")
	cmd.Flags().StringVar(&c.file, "file", "", "a `FILE` of volumes, one a line; what follows a # is left out")
	cmd.Flags().StringVar(&c.unit, "unit", "mL", "the `UNIT` of all volumes, for the record: mL, L, floz, g, ...")
	cmd.Flags().StringVar(&c.note, "note", "", "for the journal: `TEXT`")
	jsonFlag(cmd, &c.asJSON)
	cmd.MarkFlagsMutuallyExclusive("volumes", "file")
	return cmd
}

// enterCatch judges a catch test and has the daemon keep it.
func enterCatch(cmd *cobra.Command, f *flags, zone string, c *catchFlags) error {
	volumes, err := readVolumes(c)
	if err != nil {
		return err
	}
	test := days.Catch{Zone: zone, Volumes: volumes, Unit: c.unit, Note: c.note}
	s, err := test.Judge()
	if err != nil {
		return misuse("%v", err)
	}
	if test.At, err = timeOfZone(cmd, f, zone); err != nil {
		return err
	}
	s.At = test.At
	p := operator.Paper{Kind: operator.PaperCatch, Key: zone, Zone: zone, Because: "catch test: " + s.Words()}
	if err := f.keep(cmd, p, &test, c.note); err != nil {
		return err
	}
	return showCatch(cmd, zone, &s, c.asJSON)
}

// keep has the daemon keep what was measured, as the body of a paper.
func (f *flags) keep(cmd *cobra.Command, p operator.Paper, measured any, note string) (err error) {
	if p.Body, err = json.Marshal(measured); err != nil {
		return err
	}
	return f.ask(cmd.Context(), operator.Request{Kind: operator.AskKeep, Paper: &p, Note: note}, func(operator.Reply) error { return nil })
}

// mostCatches bounds a catch test: its paper has to go through the socket.
const mostCatches = 2000

func readVolumes(c *catchFlags) (volumes []float64, err error) {
	text := c.volumes
	if c.file != "" {
		b, err := os.ReadFile(c.file)
		if err != nil {
			return nil, failed(fmt.Errorf("read volumes: %w", err), "name a file that exists and that you may read")
		}
		text = string(b)
	}
	if strings.Contains(text, ",") && strings.ContainsAny(text, ";\t") {
		return nil, misuse("read volumes: commas stand beside semicolons or tabs: write decimal points (47.5), and one kind of separator")
	}
	indexed := 0 // lines that begin with their own number
	for n, line := range strings.Split(text, "\n") {
		line, _, _ = strings.Cut(line, "#")
		first := len(volumes)
		for _, word := range strings.FieldsFunc(line, func(r rune) bool { return strings.ContainsRune(", \t\r;", r) }) {
			v, err := strconv.ParseFloat(word, 64)
			if err != nil || len(volumes) == mostCatches {
				return nil, misuse("read volumes, line %d: %q: plain numbers are due, %d at most, all in the unit of --unit", n+1, word, mostCatches)
			}
			volumes = append(volumes, v)
		}
		if len(volumes) == first+2 && volumes[first] == float64(indexed+1) {
			indexed++
		}
	}
	if indexed > 1 && 2*indexed == len(volumes) {
		return nil, misuse("read volumes: each line begins with its number: leave that column away, only volumes are due")
	}
	return volumes, nil
}

// timeOfZone gives the wall time of the running room, by which its runs are known. It
// fails unless the room has the zone.
func timeOfZone(cmd *cobra.Command, f *flags, zone string) (now time.Time, err error) {
	err = f.ask(cmd.Context(), operator.Request{Kind: operator.AskView}, func(r operator.Reply) error {
		if r.View == nil {
			return errors.New("read the answer: there is no view in the reply")
		}
		now = r.View.Wall
		if !slices.ContainsFunc(r.View.Zones, func(z zones.ZoneView) bool { return z.ID == zone }) {
			return failed(fmt.Errorf("no zone is named %s", zone), "`rillgate zones` lists them")
		}
		return nil
	})
	return now, err
}

func showKeptCatch(cmd *cobra.Command, f *flags, zone string, asJSON bool) error {
	return f.look(cmd, operator.Request{Kind: operator.AskPapers, Subject: operator.PaperCatch}, func(r operator.Reply) error {
		for i := range r.Papers {
			p := &r.Papers[i]
			if p.Key != zone {
				continue
			}
			test, err := days.ReadCatch(p.Body, p.At)
			if err != nil {
				return err
			}
			s, err := test.Judge()
			if err != nil {
				return err
			}
			return showCatch(cmd, zone, &s, asJSON)
		}
		return failed(fmt.Errorf("no catch test is kept with zone %s", zone), "enter one with --volumes 47,42,...")
	})
}

func showCatch(cmd *cobra.Command, zone string, s *days.CatchSummary, asJSON bool) error {
	if asJSON {
		return printJSON(cmd, s)
	}
	out := cmd.OutOrStdout()
	fmt.Fprintf(out, "zone %s, %d emitters, measured %s, %.4g %s on average\n", zone, s.N, s.At.Format(time.DateOnly), s.Mean, s.Unit)
	fmt.Fprintf(out, "distribution uniformity of the low quarter: %.1f %%\n", s.LowQuarter)
	fmt.Fprintf(out, "Christiansen's coefficient:                 %.1f %%\n", s.Christiansen)
	fmt.Fprintf(out, "statistical uniformity:                     %.1f %%\n", s.Statistical)
	if s.RunTime == nil {
		fmt.Fprintln(out, "run time: the lowest quarter gets nothing; no run is long enough: clean or change these emitters")
	} else {
		fmt.Fprintf(out, "run time: x %.2f, for the lowest quarter to get what is meant for all; the others get more and drain more\n", *s.RunTime)
	}
	if s.FewEmitters {
		fmt.Fprintf(out, "note: %d emitters are few: measure %d or more, spread over the zone\n", s.N, substrate.EnoughCatches)
	}
	return nil
}
