package main

import (
	"encoding/json"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"rillgate/configs"
	"rillgate/zones/register"
)

func newCheck(f *flags) *cobra.Command {
	var asJSON bool
	var explain string
	cmd := &cobra.Command{
		Use:   "check [--json] [--explain ZONE]",
		Short: "Read the three files as `run` would, and say the plan in other words",
		Long: "Read the three files as `run` would: every problem at once, where it stands and what would be right, then\n" +
			"the plan in other words. Errors exit 1 and would keep the plan out of force; warnings exit 0. Where the room\n" +
			"runs or has run, it says too where files and register differ, and which zones no walk has found wired so.",
		Args: cobra.NoArgs,
		RunE: job(func(cmd *cobra.Command, _ []string) error {
			loaded, problems := configs.Load(f.config)
			switch {
			case asJSON:
				return checkJSON(cmd, f, loaded, problems, explain)
			case loaded != nil && explain != "":
				return explainZone(cmd, loaded, explain)
			}
			return check(cmd, f, loaded, problems)
		}),
	}
	jsonFlag(cmd, &asJSON)
	cmd.Flags().StringVar(&explain, "explain", "", "say where each value of this `ZONE` came from")
	return cmd
}

// check prints problems, then the plan in other words.
func check(cmd *cobra.Command, f *flags, loaded *configs.Loaded, problems []configs.Problem) error {
	out := cmd.OutOrStdout()
	if err := configs.Print(out, problems); err != nil {
		return err
	}
	if loaded == nil {
		return rejected(f, problems)
	}
	if len(problems) > 0 {
		fmt.Fprintln(out)
	}
	if _, err := fmt.Fprint(out, configs.Words(loaded, time.Now()).String()); err != nil {
		return err
	}
	v := f.glance(cmd, loaded.Plan.Room)
	differing(out, differences(loaded, v))
	notWalked(out, f.unwalked(loaded, v))
	return nil
}

// rejected is the error of files that cannot be a plan.
func rejected(f *flags, problems []configs.Problem) error {
	n := 0
	for i := range problems {
		if !problems[i].Warning {
			n++
		}
	}
	word := "errors"
	if n == 1 {
		word = "error"
	}
	return failed(fmt.Errorf("the files in %s have %d %s", f.config, n, word), "no plan comes of them until all errors are gone; warnings may stay")
}

func explainZone(cmd *cobra.Command, loaded *configs.Loaded, zone string) error {
	text, err := configs.Explain(loaded, zone)
	if err != nil {
		return err
	}
	_, err = fmt.Fprint(cmd.OutOrStdout(), text)
	return err
}

// checked is what `check --json` prints.
type checked struct {
	OK       bool               `json:"ok"`
	Problems []configs.Problem  `json:"problems"`
	Plan     *configs.PlanWords `json:"plan,omitempty"`
	Origins  []configs.Origin   `json:"origins,omitempty"` // with --explain

	Register []register.Difference `json:"register,omitempty"` // where files and register differ

	NotWalked []unwalked `json:"not_walked,omitempty"` // zones that no walk has found wired as the files say
}

func checkJSON(cmd *cobra.Command, f *flags, loaded *configs.Loaded, problems []configs.Problem, explain string) error {
	c := checked{OK: loaded != nil, Problems: problems}
	if c.Problems == nil {
		c.Problems = []configs.Problem{}
	}
	if loaded != nil {
		words := configs.Words(loaded, time.Now())
		v := f.glance(cmd, loaded.Plan.Room)
		c.Plan, c.Register, c.NotWalked = &words, differences(loaded, v), f.unwalked(loaded, v)
		if explain != "" {
			if _, err := configs.Explain(loaded, explain); err != nil {
				return err
			}
			c.Origins = loaded.Origins[explain]
		}
	}
	enc := json.NewEncoder(cmd.OutOrStdout())
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	if err := enc.Encode(c); err != nil {
		return err
	}
	if loaded == nil {
		return rejected(f, problems)
	}
	return nil
}
