package main

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"rillgate/configs"
	"rillgate/daemon/operator"
	"rillgate/store"
	"rillgate/zones"
	"rillgate/zones/register"
)

// oneProbe adds PROBE to the command that shows probes: its whole life.
func oneProbe(f *flags, cmd *cobra.Command) *cobra.Command {
	cmd.Use, cmd.Args = "probes [PROBE]", cobra.MaximumNArgs(1)
	cmd.Long = "Show the register of probes; with PROBE (an id, a place or a serial number, of now or of the past) the whole life of one."
	show := cmd.RunE
	cmd.RunE = job(func(cmd *cobra.Command, args []string) error {
		if len(args) == 0 {
			return show(cmd, args)
		}
		if cmd.Flags().Changed("zone") {
			return misuse("--zone takes no probe beside it")
		}
		if watch, _ := cmd.Flags().GetBool("watch"); watch {
			return misuse("--watch takes no probe beside it: it shows all of the room, or with --zone those of one zone")
		}
		v, err := f.view(cmd)
		if err != nil {
			return err
		}
		all, err := f.lives(cmd)
		if err != nil {
			return err
		}
		lives := register.Lives(all, args[0])
		p := probeIn(v, args[0], lives)
		if p == nil && len(lives) == 0 {
			return failed(fmt.Errorf("no probe %q was ever known here", args[0]), "`rillgate probes` lists those of now")
		}
		if asJSON, _ := cmd.Flags().GetBool("json"); asJSON {
			return printJSON(cmd, oneLife{p, lives})
		}
		return showLives(cmd.OutOrStdout(), v, p, lives)
	})
	return cmd
}

// oneLife is what `probes PROBE --json` prints.
type oneLife struct {
	Probe *zones.ProbeView `json:"probe"` // nil = known no more
	Lives []register.Life  `json:"lives"`
}

func (f *flags) lives(cmd *cobra.Command) (all []register.Life, err error) {
	err = f.look(cmd, operator.Request{Kind: operator.AskPapers, Subject: operator.PaperProbe}, func(r operator.Reply) error {
		all = operator.Lives(r.Papers)
		return nil
	})
	return all, err
}

// probeIn finds the probe of a word in the room as it is now, by what it is called now or
// was.
func probeIn(v *zones.View, word string, lives []register.Life) *zones.ProbeView {
	if p := v.Probe(word); p != nil || len(lives) == 0 || lives[0].Gone {
		return p
	}
	return v.Probe(lives[0].ID)
}

func showLives(out io.Writer, v *zones.View, p *zones.ProbeView, lives []register.Life) error {
	if p != nil {
		fmt.Fprintf(out, "%s at %s: %s", p.ID, p.Place, p.Quality)
		for _, extra := range []string{p.Because, prefixed("zone ", p.Zone), prefixed("label ", p.Label), prefixed("serial number ", p.Serial)} {
			if extra != "" {
				fmt.Fprintf(out, "; %s", extra)
			}
		}
		fmt.Fprintln(out)
		notes(out, v, func(id string) bool { return id == p.ID })
	}
	for i := range lives {
		l := &lives[i]
		if p == nil || l.ID != p.ID || l.Gone {
			fmt.Fprintf(out, "\nthe probe that was %s at %s\n", l.ID, l.Place)
		}
		for _, e := range l.Events {
			fmt.Fprintf(out, "  %s  %s\n", e.At.Local().Format(time.DateTime), e.Sentence())
		}
	}
	return nil
}

func prefixed(prefix, s string) string {
	if s == "" {
		return ""
	}
	return prefix + s
}

// notes prints what does not fit of the probes that are asked for.
func notes(out io.Writer, v *zones.View, of func(id string) bool) {
	codes := []zones.Reason{zones.FindingProbeExchanged, zones.FindingProbeMoved, zones.FindingAddressTwice, zones.FindingSerialTwice}
	for i := range v.Alarms {
		if a := &v.Alarms[i]; slices.Contains(codes, a.Code) && of(a.Subject) {
			fmt.Fprintf(out, "%s: %s\n", a.Code, a.Because)
		}
	}
}

// differences compares the files on disk with the register that a view shows. It is a look
// beside others: where there is none (nil), nothing is said.
func differences(loaded *configs.Loaded, v *zones.View) []register.Difference {
	if v == nil {
		return nil
	}
	return register.Differences(loaded.Plan.Probes, v.Probes)
}

// glance gives the room as it is or was, nil where there is none or another one.
func (f *flags) glance(cmd *cobra.Command, room string) (v *zones.View) {
	dir, err := f.stateDir()
	if err != nil {
		return nil
	}
	if v, err = f.viewNow(cmd.Context()); err != nil {
		s, err := store.OpenReadOnly(storePath(dir))
		if err != nil {
			return nil
		}
		defer s.Close()
		if v, err = remembered(dir, s); err != nil {
			return nil
		}
	}
	if v.Room != room {
		return nil
	}
	return v
}

// differing prints where files and register differ.
func differing(out io.Writer, all []register.Difference) {
	if len(all) == 0 {
		return
	}
	var b strings.Builder
	b.WriteString("\nfiles and register differ:\n")
	for _, d := range all {
		b.WriteString("  " + d.Because + "\n")
	}
	fmt.Fprint(out, b.String())
}
