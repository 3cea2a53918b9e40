package main

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/signal"
	"slices"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
	"rillgate/zones"
)

// watchEvery is how often the daemon is asked while somebody watches.
const watchEvery = time.Second

// watchProbes adds --watch to the command that shows probes.
func watchProbes(f *flags, cmd *cobra.Command) *cobra.Command {
	var watch bool
	var zone string
	cmd.Flags().BoolVar(&watch, "watch", false, "show readings as they arrive, until Ctrl-C")
	cmd.Flags().StringVar(&zone, "zone", "", "the probes of one `ZONE`")
	show := cmd.RunE
	cmd.RunE = job(func(cmd *cobra.Command, args []string) error {
		if !watch {
			return show(cmd, args)
		}
		ctx, stop := signal.NotifyContext(cmd.Context(), syscall.SIGINT, syscall.SIGTERM, syscall.SIGHUP)
		defer stop()
		asJSON, _ := cmd.Flags().GetBool("json")
		w := newWatcher(cmd.OutOrStdout(), cmd.ErrOrStderr(), zone, asJSON)
		defer w.leave()
		return w.follow(ctx, f.viewNow)
	})
	return cmd
}

// watcher shows readings as they arrive: on a terminal in place, else a line each.
type watcher struct {
	out, errs io.Writer
	screen    *screen // nil = no terminal, or JSON
	zone      string
	asJSON    bool
	heard     map[zones.Place]arrival
	silent    time.Time // since when the daemon does not answer; zero = it does
}

// arrival is what is known of when a probe was last heard: not after `by`.
type arrival struct {
	by      time.Time
	quality zones.ProbeQuality
	fresh   bool // a reading came since the look before
}

func newWatcher(out, errs io.Writer, zone string, asJSON bool) *watcher {
	w := &watcher{out: out, errs: errs, zone: zone, asJSON: asJSON, heard: map[zones.Place]arrival{}}
	if f, ok := out.(*os.File); ok && !asJSON && isTerminal(f) {
		w.screen = &screen{out: f}
	}
	return w
}

// follow asks until the context ends. A daemon that answers once and then no more, as
// over a restart, is asked again.
func (w *watcher) follow(ctx context.Context, ask func(context.Context) (*zones.View, error)) error {
	v, err := ask(ctx)
	if err != nil {
		return err
	}
	if err := zoneIn(v, w.zone); err != nil {
		return err
	}
	tick := time.NewTicker(watchEvery)
	defer tick.Stop()
	for {
		if err := w.take(v, time.Now()); err != nil {
			return err
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
		if next, err := ask(ctx); err == nil {
			v = next
			w.back()
		} else if ctx.Err() == nil {
			w.lost(time.Now(), err)
		}
	}
}

// zoneIn refuses a zone that the room does not have; "" is none.
func zoneIn(v *zones.View, zone string) error {
	if zone == "" || slices.ContainsFunc(v.Zones, func(z zones.ZoneView) bool { return z.ID == zone }) {
		return nil
	}
	return &operator.Refusal{Text: "no zone is named " + zone, Hint: "`rillgate zones` lists them"}
}

// lost and back tell a reader of lines; on a terminal the frame says it.
func (w *watcher) lost(now time.Time, err error) {
	if w.silent.IsZero() {
		w.silent = now
		if w.screen == nil {
			fmt.Fprintf(w.errs, "no answer, trying again: %v\n", err)
		}
	}
}

func (w *watcher) back() {
	if !w.silent.IsZero() && w.screen == nil {
		fmt.Fprintln(w.errs, "the daemon answers again")
	}
	w.silent = time.Time{}
}

// take notes what arrived and shows it.
func (w *watcher) take(v *zones.View, now time.Time) error {
	var list []zones.ProbeView
	for i := range v.Probes {
		if p := &v.Probes[i]; w.zone == "" || p.Zone == w.zone {
			list = append(list, *p)
		}
	}
	for i := range list {
		told := w.note(&list[i], v.Wall)
		if told && w.screen == nil && w.silent.IsZero() {
			if err := w.line(&list[i], v.Wall); err != nil {
				return err
			}
		}
	}
	if w.screen == nil {
		return nil
	}
	if _, height := w.screen.size(); len(list)+headLines > height {
		worstFirst(list)
	}
	return w.screen.draw(w.frame(v, list, now))
}

// worstFirst puts probes that are not good before the others: a window that is too low for
// all cuts off what needs no look.
func worstFirst(list []zones.ProbeView) {
	slices.SortStableFunc(list, func(a, b zones.ProbeView) int {
		return cmp.Compare(rank(&a), rank(&b))
	})
}

func rank(p *zones.ProbeView) int {
	if p.Quality == zones.ProbeGood {
		return 1
	}
	return 0
}

// note reports whether a reading came since the last look, or the quality changed. An age
// is whole seconds, so a reading is held for new only when it must be.
func (w *watcher) note(p *zones.ProbeView, at time.Time) bool {
	was, met := w.heard[p.Place]
	is := arrival{quality: p.Quality, by: was.by}
	if p.AgeSeconds != nil {
		by := at.Add(-time.Duration(*p.AgeSeconds) * time.Second)
		is.fresh = was.by.IsZero() || !by.Add(-time.Second).Before(was.by)
		if is.fresh || by.Before(was.by) {
			is.by = by
		}
	}
	is.fresh = is.fresh && met
	w.heard[p.Place] = is
	return !met || is.fresh || was.quality != is.quality
}

// line is one reading for a pipe.
func (w *watcher) line(p *zones.ProbeView, at time.Time) error {
	if w.asJSON {
		return json.NewEncoder(w.out).Encode(struct {
			At time.Time `json:"at"`
			*zones.ProbeView
		}{at, p})
	}
	_, err := fmt.Fprintf(w.out, "%s  %-12s %-8s %-11s %8s  %6s  %10s  %7s  %-9s %s\n", at.Local().Format(time.DateTime), orDash(p.ID), orDash(p.Zone), p.Quality,
		number(p.Moisture, "%.1f %%"), age(p.AgeSeconds), number(p.EC, "%.2f mS/cm"), number(p.Temperature, "%.1f C"), p.Place, orDash(p.Because))
	return err
}

// leave gives the terminal back as it was.
func (w *watcher) leave() {
	if w.screen != nil {
		w.screen.leave()
	}
}
