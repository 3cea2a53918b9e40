package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
)

func newRestore(f *flags) *cobra.Command {
	var note string
	cmd := &cobra.Command{
		Use:   "restore FILE",
		Short: "Put a backup in the place of the running daemon's store",
		Long: "Put a backup in the place of the running daemon's store.\n\nThe daemon closes every valve and starts anew. The ledger never goes back: only where the\n" +
			"backup knows more than it (another machine, a lost ledger) does the backup's memory hold;\nthen budgets count as spent until `rillgate reset budget ZONE`.",
		Args: cobra.ExactArgs(1),
		RunE: job(func(cmd *cobra.Command, args []string) error { return restore(cmd, f, args[0], note) }),
	}
	cmd.Flags().StringVar(&note, "note", "", "why, for the journal: `TEXT`")
	return cmd
}

func restore(cmd *cobra.Command, f *flags, path, note string) error {
	file, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("open the backup: %w", err)
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		return fmt.Errorf("open the backup: %w", err)
	}
	dir, err := f.stateDir()
	if err != nil {
		return err
	}
	req := operator.Request{Kind: operator.AskRestore, Size: info.Size(), Note: note}
	p := newProgress(cmd, "restore", info.Size())
	defer p.end()
	err = operator.Send(cmd.Context(), filepath.Join(dir, operator.SocketName), req, io.TeeReader(file, p), func(r operator.Reply) error {
		p.end()
		for _, line := range r.Applied.Changes {
			fmt.Fprintln(cmd.OutOrStdout(), line)
		}
		return nil
	})
	if errors.Is(err, operator.ErrNotRunning) {
		return failed(err, notRunningHint(err))
	}
	return err
}
