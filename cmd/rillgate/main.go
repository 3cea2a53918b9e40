// Command rillgate waters a growing room from its probes, through room
// controllers, and forbids what could flood or dry it. `rillgate --help` lists
// what it does; exit codes: 0 done, 1 it did not work or found problems, 2 wrong
// use.
package main

import (
	"context"
	"io"
	"os"
	_ "time/tzdata" // a small box may have no time zone files

	"rillgate/store"
)

func main() {
	store.ProbeMain() // ends the process in the child that looks at a store
	os.Exit(run(context.Background(), os.Args[1:], os.Stdout, os.Stderr))
}

// run is main with its surroundings given; it returns the exit code.
func run(ctx context.Context, args []string, out, errs io.Writer) int {
	root := newRoot()
	root.SetArgs(args)
	root.SetOut(out)
	root.SetErr(errs)
	return report(root.ExecuteContext(ctx), root, errs)
}
