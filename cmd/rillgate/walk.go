package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"slices"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
	"rillgate/zones"
	"rillgate/zones/walk"
)

// walkFlags are what `walk` is told.
type walkFlags struct {
	length        durationFlag
	closings, yes bool
	last, asJSON  bool
	accept, note  string
	request       operator.Request
	kind          string // of the paper it leaves
}

func newWalk(f *flags) *cobra.Command {
	w := &walkFlags{}
	cmd := &cobra.Command{
		Use:   "walk [ZONE...] [--for 60s | --last]",
		Short: "Open each valve in turn, watch which probes rise, and say how the room is wired",
		Long: "Open each valve for a short while, with all interlocks in force, and watch which probes rise, how much and how late.\n" +
			"The result is a matrix valve by probe and a verdict a valve; it is kept with its date. While a walk is on, windows wait.\n" +
			"Ctrl-C or `rillgate stop` ends it: the valve closes, and what was found is kept as partial. Exit code 0: all as configured.\n\n" +
			"With --close-times it times instead how long each output takes to close by itself, on a grant that is not renewed: as if\n" +
			"the link were cut. Each valve then runs for one lease, and 3 s more where its controller does not keep its grants.",
		Example: "  rillgate walk\n  rillgate walk east west --for 90s\n  rillgate walk --close-times\n  rillgate walk --last east",
		RunE:    job(func(cmd *cobra.Command, args []string) error { return w.run(cmd, f, args) }),
	}
	cmd.Flags().Var(&w.length, "for", "valve time of each opening (default what gives 3 % of the substrate's volume)")
	cmd.Flags().BoolVar(&w.closings, "close-times", false, "time how long each output takes to close by itself")
	cmd.Flags().BoolVar(&w.yes, "yes", false, "do not ask before --close-times")
	cmd.Flags().BoolVar(&w.last, "last", false, "show what walks have found last of each valve, with its date, and walk nothing")
	cmd.Flags().StringVar(&w.accept, "accept", "", "say of a `ZONE` that no probe can tell of: somebody has seen that it is wired as the files say")
	cmd.Flags().StringVar(&w.note, "note", "", "why, for the journal: `TEXT`")
	jsonFlag(cmd, &w.asJSON)
	cmd.MarkFlagsMutuallyExclusive("for", "close-times")
	cmd.MarkFlagsMutuallyExclusive("last", "accept", "for")
	return cmd
}

func (w *walkFlags) run(cmd *cobra.Command, f *flags, args []string) error {
	w.kind = operator.PaperWalk
	if w.closings {
		w.kind = operator.PaperClosings
	}
	switch {
	case w.last:
		return w.showLast(cmd, f, args)
	case cmd.Flags().Changed("accept"):
		if w.accept == "" || w.note == "" || len(args) > 0 {
			return misuse("--accept takes one zone, and --note \"who saw what\"")
		}
		return give(cmd, f, &operator.Order{Kind: zones.OrderWalkAccept, Zone: w.accept, Note: w.note})
	case w.closings && !w.yes:
		if err := consent(cmd.InOrStdin(), cmd.ErrOrStderr()); err != nil {
			return err
		}
	}
	w.request = operator.Request{Kind: operator.AskWalk, Note: w.note, Walk: &operator.WalkAsk{Zones: args, For: operator.Duration(w.length), Closings: w.closings}}
	return w.walk(cmd, f)
}

// consent asks a person at a terminal; a script has to say --yes.
func consent(in io.Reader, out io.Writer) error {
	if file, ok := in.(*os.File); ok && !isTerminal(file) {
		return misuse("--close-times lets each valve run on a grant that is not renewed; in a script say --yes too")
	}
	fmt.Fprint(out, "Each valve in turn opens for one lease and is not renewed; a controller that keeps its grants closes it then by itself,\n"+
		"another is told to 3 s later. Somebody should stand at the hand valve. Go on? [y/N] ")
	answer, _ := bufio.NewReader(in).ReadString('\n') // without an answer it is no
	if a := strings.ToLower(strings.TrimSpace(answer)); a != "y" && a != "yes" {
		return failed(errors.New("walk: nothing was opened"), "")
	}
	return nil
}

// walk follows a walk to its end. When it is broken off, what was found so far is shown
// as kept.
func (w *walkFlags) walk(cmd *cobra.Command, f *flags) error {
	ctx, stop := signal.NotifyContext(cmd.Context(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	begun := time.Now()
	var result *walk.Result
	err := f.ask(ctx, w.request, func(r operator.Reply) error {
		if r.Walk == nil {
			return errors.New("read the walk: there is none in the reply")
		}
		w.say(cmd, r.Walk)
		result = r.Walk.Result
		return nil
	})
	if ctx.Err() != nil {
		stop()
		fmt.Fprintln(cmd.ErrOrStderr(), "broken off; what was found so far:")
		result, err = w.brokenOff(cmd, f, begun)
	}
	if err != nil {
		return err
	}
	return w.show(cmd, result)
}

// say prints what happened, at the room's time and not the terminal's.
func (w *walkFlags) say(cmd *cobra.Command, news *operator.WalkNews) {
	out := cmd.OutOrStdout()
	if w.asJSON {
		out = cmd.ErrOrStderr()
	}
	for _, s := range news.Said {
		fmt.Fprintf(out, "%s %s\n", news.At.Format("15:04:05"), s)
	}
}

// brokenOff fetches the partial result, for which the daemon needs a moment.
func (w *walkFlags) brokenOff(cmd *cobra.Command, f *flags, begun time.Time) (*walk.Result, error) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(cmd.Context()), 10*time.Second)
	defer cancel()
	every := time.NewTicker(200 * time.Millisecond)
	defer every.Stop()
	for {
		r, err := w.kept(func(req operator.Request, take func(operator.Reply) error) error { return f.ask(ctx, req, take) })
		if err == nil && r != nil && !r.Ended.IsZero() && !r.Begun.Before(begun.Add(-time.Minute)) {
			return r, nil
		}
		select {
		case <-ctx.Done():
			return nil, failed(errors.New("walk: the daemon has kept nothing of it yet"), "`rillgate walk --last` shows it later; `rillgate zones` shows whether all is closed")
		case <-every.C:
		}
	}
}

// kept gives the newest paper of a walk; nil = none.
func (w *walkFlags) kept(ask func(operator.Request, func(operator.Reply) error) error) (r *walk.Result, err error) {
	err = ask(operator.Request{Kind: operator.AskPapers, Subject: w.kind}, func(reply operator.Reply) error {
		if n := len(reply.Papers); n > 0 { // keys are in order of time
			r = &walk.Result{}
			return json.Unmarshal(reply.Papers[n-1].Body, r)
		}
		return nil
	})
	return r, err
}

// showLast prints what walks have left of the zones asked for, or how outputs closed last.
func (w *walkFlags) showLast(cmd *cobra.Command, f *flags, only []string) error {
	if w.closings {
		return w.showClosings(cmd, f)
	}
	l, err := f.lastWalk(cmd, only)
	switch {
	case err != nil:
		return err
	case l == nil:
		return failed(errors.New("no walk is kept"), "`rillgate walk` walks the room")
	case w.asJSON:
		err = printJSON(cmd, l)
	default:
		fmt.Fprint(cmd.OutOrStdout(), l.Text(nil))
		times := walkFlags{kind: operator.PaperClosings}
		if r, err := times.kept(f.looking(cmd)); err == nil && r != nil {
			fmt.Fprintf(cmd.OutOrStdout(), "closing times were taken on %s: `rillgate walk --last --close-times`\n", r.Begun.Format("2006-01-02"))
		}
	}
	if err == nil && !l.Good() {
		return errQuiet
	}
	return err
}

func (w *walkFlags) showClosings(cmd *cobra.Command, f *flags) error {
	r, err := w.kept(f.looking(cmd))
	switch {
	case err != nil:
		return err
	case r == nil:
		return failed(errors.New("no closing times are kept"), "`rillgate walk --close-times` takes them")
	case !w.asJSON:
		fmt.Fprintf(cmd.OutOrStdout(), "timed %s\n", r.Begun.Format("2006-01-02 15:04"))
	}
	return w.show(cmd, r)
}

// lastWalk gives what walks have left of a room, running or not; nil = nothing. only =
// these zones, none = all.
func (f *flags) lastWalk(cmd *cobra.Command, only []string) (*walk.Last, error) {
	v, err := f.view(cmd)
	if err != nil {
		return nil, err
	}
	papers := map[string][]operator.Paper{}
	for _, kind := range []string{operator.PaperWalk, operator.PaperAccept} {
		take := func(r operator.Reply) error { papers[kind] = r.Papers; return nil }
		if err := f.look(cmd, operator.Request{Kind: operator.AskPapers, Subject: kind}, take); err != nil {
			return nil, err
		}
	}
	for _, id := range only {
		if !slices.ContainsFunc(v.Zones, func(z zones.ZoneView) bool { return z.ID == id }) {
			return nil, failed(fmt.Errorf("walk --last: no zone %q", id), "`rillgate zones` lists the zones")
		}
	}
	book := operator.BookOf(papers[operator.PaperWalk], papers[operator.PaperAccept])
	if book.Empty() {
		return nil, nil
	}
	return book.Last(v, only), nil
}

// show prints a result; one that is not good throughout is a failure that has said all.
func (w *walkFlags) show(cmd *cobra.Command, r *walk.Result) error {
	if r == nil {
		return errors.New("read the walk: its result is missing in the reply")
	}
	if w.asJSON {
		if err := printJSON(cmd, r); err != nil {
			return err
		}
	} else {
		fmt.Fprint(cmd.OutOrStdout(), r.Text())
	}
	if !r.Good() {
		return errQuiet
	}
	return nil
}
