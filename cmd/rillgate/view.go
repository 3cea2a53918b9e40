package main

import (
	"context"
	"errors"

	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
	"rillgate/zones"
)

// viewCommand makes a command that shows a part of the room's view.
func viewCommand(f *flags, use, short string, asJSON, table func(*cobra.Command, *zones.View) error) *cobra.Command {
	var wantJSON bool
	cmd := &cobra.Command{Use: use, Short: short, Args: cobra.NoArgs}
	cmd.RunE = job(func(cmd *cobra.Command, _ []string) error {
		v, err := f.view(cmd)
		if err != nil {
			return err
		}
		if wantJSON {
			return asJSON(cmd, v)
		}
		return table(cmd, v)
	})
	jsonFlag(cmd, &wantJSON)
	return cmd
}

// view gives the view of the running daemon, and where none runs, what is remembered.
func (f *flags) view(cmd *cobra.Command) (*zones.View, error) {
	return viewBy(f.looking(cmd))
}

// looking is look as something that is asked.
func (f *flags) looking(cmd *cobra.Command) func(operator.Request, func(operator.Reply) error) error {
	return func(req operator.Request, take func(operator.Reply) error) error { return f.look(cmd, req, take) }
}

// viewNow gives the view of the running daemon.
func (f *flags) viewNow(ctx context.Context) (*zones.View, error) {
	return viewBy(func(req operator.Request, take func(operator.Reply) error) error { return f.ask(ctx, req, take) })
}

// viewBy asks for a view.
func viewBy(ask func(operator.Request, func(operator.Reply) error) error) (v *zones.View, err error) {
	err = ask(operator.Request{Kind: operator.AskView}, func(r operator.Reply) error {
		v = r.View
		return nil
	})
	if err == nil && v == nil {
		err = errors.New("read the view: there is none in the reply")
	}
	return v, err
}
