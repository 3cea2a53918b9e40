package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"rillgate/daemon/operator"
)

func newBackup(f *flags) *cobra.Command {
	return &cobra.Command{
		Use:   "backup FILE",
		Short: "Write a consistent copy of store and ledger while the daemon runs",
		Args:  cobra.ExactArgs(1),
		RunE:  job(func(cmd *cobra.Command, args []string) error { return backup(cmd, f, args[0]) }),
	}
}

// backup writes beside the file and renames, so that a broken copy never bears the
// name of a whole one.
func backup(cmd *cobra.Command, f *flags, path string) error {
	tmp, err := os.CreateTemp(filepath.Dir(path), ".rillgate-backup-*")
	if err != nil {
		return fmt.Errorf("create the backup: %w", err)
	}
	defer os.Remove(tmp.Name())
	defer tmp.Close()
	p := newProgress(cmd, "backup", 0)
	size, err := f.fetch(cmd.Context(), operator.Request{Kind: operator.AskBackup}, io.MultiWriter(tmp, p))
	p.end()
	if err != nil {
		return err
	}
	if err := tmp.Sync(); err != nil {
		return fmt.Errorf("write the backup: %w", err)
	}
	if err := os.Rename(tmp.Name(), path); err != nil {
		return fmt.Errorf("name the backup: %w", err)
	}
	fmt.Fprintf(cmd.OutOrStdout(), "%s: %d bytes\n", path, size)
	return nil
}

// fetch writes the pieces that the daemon sends.
func (f *flags) fetch(ctx context.Context, req operator.Request, to io.Writer) (size int64, err error) {
	err = f.ask(ctx, req, func(r operator.Reply) error {
		n, err := to.Write(r.Data)
		size += int64(n)
		return err
	})
	return size, err
}
