package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"rillgate/configs"
	"rillgate/daemon/trace"
)

func newReplay(f *flags) *cobra.Command {
	var in, out string
	cmd := &cobra.Command{
		Use:   "replay --trace FILE.jsonl [--out FILE.jsonl]",
		Short: "Run the core on a recorded trace, in virtual time",
		Args:  cobra.NoArgs,
		RunE:  job(func(cmd *cobra.Command, _ []string) error { return replay(cmd, f, in, out) }),
	}
	cmd.Flags().StringVar(&in, "trace", "", "the trace: `FILE` of JSON lines, - for standard input")
	cmd.Flags().StringVar(&out, "out", "", "write what follows from it to this `FILE`, not to standard output")
	_ = cmd.MarkFlagRequired("trace")
	return cmd
}

func replay(cmd *cobra.Command, f *flags, in, out string) error {
	loaded, err := load(cmd, f)
	if err != nil {
		return err
	}
	from, size := cmd.InOrStdin(), int64(0)
	if in != "-" {
		file, err := os.Open(in)
		if err != nil {
			return failed(fmt.Errorf("open the trace: %w", err), "`rillgate journal --trace` writes one")
		}
		defer file.Close()
		if info, err := file.Stat(); err == nil {
			size = info.Size()
		}
		from = file
	}
	p := newProgress(cmd, "replay", size)
	if f, ok := cmd.OutOrStdout().(*os.File); ok && out == "" && isTerminal(f) {
		p.out = nil // what is printed there shows how far it is
	}
	from = io.TeeReader(from, p)
	return writeTo(cmd.OutOrStdout(), out, func(w io.Writer) error {
		err := trace.Replay(loaded.Plan, from, w)
		p.end()
		var wrong *trace.LineError
		if errors.As(err, &wrong) {
			return failed(fmt.Errorf("%s:%d:%d: %s", in, wrong.Line, max(wrong.Column, 1), wrong.What), wrong.Help)
		}
		return err
	})
}

// load reads the three files; their errors are told on stderr.
func load(cmd *cobra.Command, f *flags) (*configs.Loaded, error) {
	loaded, problems := configs.Load(f.config)
	if loaded == nil {
		_ = configs.Print(cmd.ErrOrStderr(), problems)
		return nil, failed(fmt.Errorf("read the configuration in %s: it has errors", f.config), "`rillgate check --config "+f.config+"` shows them")
	}
	return loaded, nil
}

// writeTo fills a file, whole or not at all, or standard output.
func writeTo(out io.Writer, path string, fill func(io.Writer) error) error {
	if path == "" {
		w := bufio.NewWriterSize(out, 64<<10)
		return errors.Join(fill(w), w.Flush())
	}
	tmp, err := os.CreateTemp(filepath.Dir(path), ".rillgate-*")
	if err != nil {
		return fmt.Errorf("create %s: %w", path, err)
	}
	defer os.Remove(tmp.Name())
	defer tmp.Close()
	w := bufio.NewWriterSize(tmp, 64<<10)
	if err := errors.Join(fill(w), w.Flush(), tmp.Chmod(0o644)); err != nil {
		return err
	}
	if err := os.Rename(tmp.Name(), path); err != nil {
		return fmt.Errorf("name %s: %w", path, err)
	}
	return nil
}
