package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"rillgate/configs"
	"rillgate/daemon/sheet"
	"rillgate/zones/wiring"
)

func newWiring(f *flags) *cobra.Command {
	var asJSON bool
	var out string
	cmd := &cobra.Command{
		Use:   "wiring [--out FILE.html or .svg] [--json]",
		Short: "Draw the install sheet: terminals, labels, cut list, voltages, transformer, findings",
		Long: "Draw what room.yaml says as it will be built: each terminal with its boxes and labels, the way to the farthest\n" +
			"probe, what to cut and to buy, the voltage at the far end, the valves' runs, the transformer's load, and what is\n" +
			"doubtful. As text, as a sheet to print (--out FILE.html) or as a drawing (--out FILE.svg). Findings exit 0.",
		Args: cobra.NoArgs,
		RunE: job(func(cmd *cobra.Command, _ []string) error {
			if asJSON && out != "" {
				return misuse("--out and --json exclude each other")
			}
			loaded, problems := configs.Load(f.config)
			if loaded == nil {
				_ = configs.Print(cmd.ErrOrStderr(), problems)
				return rejected(f, problems)
			}
			s := wiring.Survey(loaded.Wiring)
			if out != "" {
				return writeSheet(cmd, out, s, loaded.Hash)
			}
			if asJSON {
				return printJSON(cmd, s)
			}
			_, err := fmt.Fprint(cmd.OutOrStdout(), s)
			return err
		}),
	}
	jsonFlag(cmd, &asJSON)
	cmd.Flags().StringVar(&out, "out", "", "write a sheet to print (`FILE`.html) or a drawing (FILE.svg)")
	return cmd
}

// writeSheet writes the file that --out names and says what is to be looked at.
func writeSheet(cmd *cobra.Command, path string, s wiring.Sheet, plan string) error {
	var text bytes.Buffer
	var err error
	switch strings.ToLower(filepath.Ext(path)) {
	case ".html", ".htm":
		err = sheet.HTML(&text, s, sheet.Head{Plan: plan, Date: time.Now().Format(time.DateOnly)})
	case ".svg":
		err = sheet.SVG(&text, s)
	default:
		return misuse("--out takes a file that ends in .html or .svg, not %s", path)
	}
	if err != nil {
		return err
	}
	if err := os.WriteFile(path, text.Bytes(), 0o644); err != nil {
		return failed(fmt.Errorf("write the sheet: %w", err), "name a file in a directory that exists and that you may write to")
	}
	warnings := 0
	for _, f := range s.Findings {
		if f.Warning {
			warnings++
		}
	}
	fmt.Fprintf(cmd.OutOrStdout(), "wrote %s; findings: %d, of them warnings: %d\n", path, len(s.Findings), warnings)
	return nil
}
