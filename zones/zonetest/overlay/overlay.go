// Package overlay builds test binaries from sources that differ from those on disk,
// by the go command's -overlay: nothing in the tree changes. It serves tests alone.
package overlay

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

// Sources are the files that differ: path from the module's root to content. A path
// that is not on disk adds a file.
type Sources map[string]string

// Builder makes test binaries in a folder of its own.
type Builder struct {
	Root string // of the module, absolute
	Dir  string // for what it makes, absolute
	n    int
}

// Build compiles the tests of a package (a path from the root, such as "zones") and
// gives the binary's path. The error carries what the compiler said.
func (b *Builder) Build(ctx context.Context, pkg string, s Sources) (binary string, err error) {
	b.n++
	dir := filepath.Join(b.Dir, strconv.Itoa(b.n))
	list, err := b.lay(dir, s)
	if err != nil {
		return "", fmt.Errorf("write overlay: %w", err)
	}
	binary = filepath.Join(dir, "test")
	cmd := exec.CommandContext(ctx, "go", "test", "-c", "-vet=off", "-ldflags=-s -w", "-overlay", list, "-o", binary, "./"+pkg)
	cmd.Dir = b.Root
	if out, err := cmd.CombinedOutput(); err != nil {
		return "", fmt.Errorf("build tests of %s: %w\n%s", pkg, err, out)
	}
	return binary, nil
}

// lay writes the files and the list that the go command reads.
func (b *Builder) lay(dir string, s Sources) (list string, err error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return "", err
	}
	replace := map[string]string{}
	for path, text := range s {
		at := filepath.Join(dir, strings.ReplaceAll(path, "/", "-"))
		if err := os.WriteFile(at, []byte(text), 0o644); err != nil {
			return "", err
		}
		replace[filepath.Join(b.Root, path)] = at
	}
	text, err := json.Marshal(map[string]any{"Replace": replace})
	if err != nil {
		return "", err
	}
	list = filepath.Join(dir, "overlay.json")
	return list, os.WriteFile(list, text, 0o644)
}

// Outcome is what came of running a test binary.
type Outcome struct {
	Passed bool
	Failed string // the innermost test that failed first; "" when none is named
	Output string
	Took   time.Duration
}

// Run runs a test binary in its package's folder. An error means that it could not
// be run at all; a failing test is an outcome.
func (b *Builder) Run(ctx context.Context, binary, pkg string, env []string, args ...string) (*Outcome, error) {
	return run(ctx, binary, filepath.Join(b.Root, pkg), env, args)
}

// Again runs one test of the binary that is running, from the folder that it runs in: its
// name and its flags. No test is skipped for a missing tool, since that would show nothing.
func Again(ctx context.Context, test string, env []string, flags ...string) (*Outcome, error) {
	env = append([]string{"RILLGATE_REQUIRE_TOOLS=1"}, env...)
	return run(ctx, os.Args[0], "", env, append([]string{"-test.run", "^" + test + "$", "-test.timeout", "4m"}, flags...))
}

func run(ctx context.Context, binary, dir string, env, args []string) (*Outcome, error) {
	cmd := exec.CommandContext(ctx, binary, append([]string{"-test.v", "-test.failfast"}, args...)...)
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), env...)
	cmd.WaitDelay = time.Second
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	began := time.Now()
	err := cmd.Run()
	o := &Outcome{Passed: err == nil, Output: out.String(), Took: time.Since(began)}
	if err != nil && cmd.ProcessState == nil {
		return nil, fmt.Errorf("run tests in %s: %w", cmp.Or(dir, "this folder"), err)
	}
	if !o.Passed {
		o.Failed = failed(o.Output, ctx.Err() != nil)
	}
	return o, nil
}

// failed names the test to which a failure belongs: the innermost of the first that
// is told, or the one that was running when the process died.
func failed(output string, cut bool) string {
	first, running := "", ""
	for _, line := range strings.Split(output, "\n") {
		text := strings.TrimSpace(line)
		if name, ok := strings.CutPrefix(text, "=== RUN"); ok {
			running = strings.TrimSpace(name)
		}
		name, ok := strings.CutPrefix(text, "--- FAIL: ")
		if !ok {
			continue
		}
		if name, _, _ = strings.Cut(name, " "); first == "" || strings.HasPrefix(name, first+"/") {
			first = name
		}
	}
	switch {
	case first != "":
		return first
	case cut:
		return running + " (did not end)"
	case strings.Contains(output, "panic:") || strings.Contains(output, "fatal error:"):
		return running + " (died)"
	}
	return ""
}
