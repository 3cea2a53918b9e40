package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os/signal"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"rillgate/zones"
	"rillgate/zones/dip"
)

// findProbes adds --find to the command that shows probes.
func findProbes(f *flags, cmd *cobra.Command) *cobra.Command {
	var find, once bool
	cmd.Flags().BoolVar(&find, "find", false, "put any probe into a cup of water, take it out, and be told which it is; until Ctrl-C")
	cmd.Flags().BoolVar(&once, "once", false, "with --find: end with the first that is sure")
	show := cmd.RunE
	cmd.RunE = job(func(cmd *cobra.Command, args []string) error {
		watch, _ := cmd.Flags().GetBool("watch")
		switch {
		case once && !find:
			return misuse("--once goes with --find")
		case find && (watch || len(args) > 0):
			return misuse("--find takes neither a probe nor --watch")
		case !find:
			return show(cmd, args)
		}
		ctx, stop := signal.NotifyContext(cmd.Context(), syscall.SIGINT, syscall.SIGTERM, syscall.SIGHUP)
		defer stop()
		asJSON, _ := cmd.Flags().GetBool("json")
		zone, _ := cmd.Flags().GetString("zone")
		s := &seeker{out: cmd.OutOrStdout(), errs: cmd.ErrOrStderr(), asJSON: asJSON, once: once, finder: dip.Finder{Zone: zone}}
		return s.follow(ctx, watchEvery, f.viewNow)
	})
	return cmd
}

// seeker tells which probe is in somebody's hand, a line for each thing that becomes
// known.
type seeker struct {
	out, errs io.Writer
	asJSON    bool
	once      bool
	finder    dip.Finder
	silent    bool
}

const findIntro = `Leave all probes alone until I say so. A dip counts as what it reads: a zone of one or two probes may close
("leak", "over-wet"); ` + "`rillgate hold ZONE` or `rillgate ignore PROBE --for 30m`" + ` keeps that away. Ctrl-C ends.`

// follow looks until the context ends, or with once until one is sure. A daemon that
// answered once is asked again when it does not.
func (s *seeker) follow(ctx context.Context, every time.Duration, ask func(context.Context) (*zones.View, error)) error {
	v, err := ask(ctx)
	if err != nil {
		return err
	}
	if err := zoneIn(v, s.finder.Zone); err != nil {
		return err
	}
	if !s.asJSON {
		fmt.Fprintln(s.out, findIntro)
	}
	tick := time.NewTicker(every)
	defer tick.Stop()
	for {
		for _, w := range s.finder.Look(v) {
			if err := s.say(w, v.Wall); err != nil || s.once && w.Kind == dip.Sure {
				return err
			}
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
		next, err := ask(ctx)
		switch {
		case err == nil:
			v, s.silent = next, false
		case ctx.Err() == nil && !s.silent:
			s.silent = true
			fmt.Fprintf(s.errs, "no answer, trying again: %v\n", err)
		}
	}
}

func (s *seeker) say(w dip.Word, at time.Time) error {
	if s.asJSON {
		return json.NewEncoder(s.out).Encode(struct {
			At time.Time `json:"at"`
			dip.Word
		}{at, w})
	}
	_, err := fmt.Fprintf(s.out, "%s %s\n", at.Format(time.TimeOnly), w.Text)
	if err == nil && w.Kind == dip.Sure {
		_, err = fmt.Fprintf(s.out, "         once it is in its place again: `rillgate acknowledge %s`\n", w.Probe)
	}
	return err
}
