package main

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"rillgate/configs"
	"rillgate/daemon"
	"rillgate/daemon/handover"
	"rillgate/daemon/operator"
	"rillgate/store"
)

func newHandover(f *flags) *cobra.Command {
	var out string
	var card bool
	cmd := &cobra.Command{
		Use:   "handover [--card] --out FILE.html",
		Short: "Write the room as built, to print and to hand over; or the hand card alone",
		Long: "Write the room as it is built and set: what is open today, the hand card, limits and schedule in words, the register of\n" +
			"probes, calibrations, the last walk, the wiring. With --card the hand card alone: per zone the valve, how many shots of\n" +
			"how long at what times, and never longer than what, from the last good days, else from the schedule.\n" +
			"Asks the running daemon; where none runs, its store; where there is none, the files alone, and says so.",
		Args: cobra.NoArgs,
		RunE: job(func(cmd *cobra.Command, _ []string) error {
			if ext := strings.ToLower(filepath.Ext(out)); ext != ".html" && ext != ".htm" {
				return misuse("--out takes a file that ends in .html, not %q", out)
			}
			in, err := f.roomAsBuilt(cmd)
			if err != nil {
				return err
			}
			for _, n := range in.Notices {
				fmt.Fprintln(cmd.ErrOrStderr(), n)
			}
			return writeHandover(cmd, in, out, card)
		}),
	}
	cmd.Flags().StringVar(&out, "out", "", "the `FILE`.html to write")
	cmd.Flags().BoolVar(&card, "card", false, "the hand card alone, one page")
	return cmd
}

func writeHandover(cmd *cobra.Command, in *handover.Input, out string, card bool) error {
	var text bytes.Buffer
	var err error
	said := "hand card"
	if card {
		err = handover.CardHTML(&text, in.Loaded.Plan, in.Days, in.Now)
	} else {
		d := handover.New(in)
		said = fmt.Sprintf("open findings: %d", len(d.Open))
		err = d.HTML(&text)
	}
	if err != nil {
		return err
	}
	if err := os.WriteFile(out, text.Bytes(), 0o644); err != nil {
		return failed(fmt.Errorf("write the hand-over: %w", err), "name a file in a directory that exists and that you may write to")
	}
	fmt.Fprintf(cmd.OutOrStdout(), "wrote %s; %s\n", out, said)
	return nil
}

// roomAsBuilt gathers from the running daemon, else from its store, else from the files.
func (f *flags) roomAsBuilt(cmd *cobra.Command) (*handover.Input, error) {
	files, problems := configs.Load(f.config)
	in := &handover.Input{Loaded: files, Problems: problems, Now: time.Now()}
	err := f.asBuiltNow(cmd, in)
	if errors.Is(err, operator.ErrNotRunning) {
		err = f.asBuiltLast(in)
	}
	if err == nil && in.Loaded == nil {
		_ = configs.Print(cmd.ErrOrStderr(), problems)
		err = rejected(f, problems)
	}
	return in, err
}

// asBuiltNow asks the running daemon. Its plan is not to be had from it: the files must
// be that plan, or it is said.
func (f *flags) asBuiltNow(cmd *cobra.Command, in *handover.Input) error {
	get := func(req operator.Request, take func(operator.Reply)) error {
		return f.ask(cmd.Context(), req, func(r operator.Reply) error { take(r); return nil })
	}
	err := get(operator.Request{Kind: operator.AskView}, func(r operator.Reply) { in.View = r.View })
	switch {
	case err != nil:
		return err
	case in.View == nil:
		return errors.New("read the view: there is none in the reply")
	case in.Loaded == nil:
		return nil
	}
	in.Running, in.Now = true, in.View.Wall
	if in.View.Plan != in.Loaded.Hash {
		in.Notices = append(in.Notices, fmt.Sprintf("The files in %s are not the plan in force (%s): what is said of wiring, limits and schedule is the files' (%s).", f.config, in.View.Plan, in.Loaded.Hash))
	}
	ask := handover.Ask(in.Now, in.Loaded.Plan.Calendar.Location)
	if err := get(operator.Request{Kind: operator.AskReport, Report: &ask}, func(r operator.Reply) { in.Days = r.Report }); err != nil {
		in.Notices = append(in.Notices, "The last days are not known: "+err.Error()+".")
	}
	for kind, into := range map[string]*[]handover.Paper{operator.PaperWalk: &in.Walks, operator.PaperAccept: &in.Accepts, operator.PaperClosings: &in.Closings, operator.PaperCatch: &in.Catches} {
		err := get(operator.Request{Kind: operator.AskPapers, Subject: kind}, func(r operator.Reply) { *into = handed(r.Papers) })
		if err != nil {
			in.Notices = append(in.Notices, "What is kept of kind "+kind+" is not known: "+err.Error()+".")
		}
	}
	return nil
}

func handed(papers []operator.Paper) (out []handover.Paper) {
	for _, p := range papers {
		out = append(out, handover.Paper{Key: p.Key, At: p.At, By: p.By, Body: p.Body})
	}
	return out
}

// asBuiltLast reads the store of a room that does not run; its plan in force leads.
func (f *flags) asBuiltLast(in *handover.Input) error {
	dir, err := f.stateDir()
	if err != nil {
		return err
	}
	s, err := store.OpenReadOnly(storePath(dir))
	if errors.Is(err, fs.ErrNotExist) {
		in.Notices = append(in.Notices, fmt.Sprintf("No daemon runs and there is no store in %s: this is from the files alone, of a room that has not run.", dir))
		return nil
	}
	if err != nil {
		return fmt.Errorf("read the store of %s: %w", dir, err)
	}
	defer s.Close()
	return f.remember(in, dir, s)
}

func (f *flags) remember(in *handover.Input, dir string, s *store.Store) error {
	loaded, err := lastPlan(s)
	if err != nil {
		in.Notices = append(in.Notices, "No daemon runs and its store has no plan that can be used ("+err.Error()+"): this is from the files alone.")
		return nil
	}
	if in.Loaded == nil || in.Loaded.Hash != loaded.Hash {
		in.Notices = append(in.Notices, fmt.Sprintf("The files in %s are not the plan that was in force last: this is of that one, %s.", f.config, loaded.Hash))
		in.Problems = nil
	}
	in.Loaded = loaded
	if in.View, err = remembered(dir, s); err != nil {
		return err
	}
	in.Notices = append(in.Notices, "No daemon runs; "+recordedAt(in.View.Wall)+". How probes, valves and controllers are now is not known.")
	if in.View.Wall.After(in.Now) {
		in.Now = in.View.Wall // this box's clock is behind the daemon's
	}
	if in.Days, err = daemon.ReportOf(s, loaded.Plan, in.Now, handover.Ask(in.Now, loaded.Plan.Calendar.Location)); err != nil {
		return err
	}
	for kind, into := range map[string]*[]handover.Paper{operator.PaperWalk: &in.Walks, operator.PaperAccept: &in.Accepts, operator.PaperClosings: &in.Closings, operator.PaperCatch: &in.Catches} {
		kept, err := daemon.PapersIn(s, kind)
		if err != nil {
			return err
		}
		*into = handed(kept)
	}
	return nil
}
