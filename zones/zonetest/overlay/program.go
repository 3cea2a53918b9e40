package overlay

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
)

// Edit changes one place of one file (a path from the module's root): Old stands in
// it once.
type Edit struct{ File, Old, New string }

// Program builds a program (the path of its package from the root) whose sources are
// changed, and gives the binary's path. An Old that does not stand once in its file
// is an error: then the edit no longer says what it once did.
func (b *Builder) Program(ctx context.Context, pkg string, edits ...Edit) (binary string, err error) {
	s := Sources{}
	for _, e := range edits {
		text, known := s[e.File]
		if !known {
			whole, err := os.ReadFile(filepath.Join(b.Root, e.File))
			if err != nil {
				return "", fmt.Errorf("edit a source: %w", err)
			}
			text = string(whole)
		}
		if n := strings.Count(text, e.Old); n != 1 {
			return "", fmt.Errorf("edit %s: what is to be changed stands there %d times: %s", e.File, n, e.Old)
		}
		s[e.File] = strings.Replace(text, e.Old, e.New, 1)
	}
	b.n++
	dir := filepath.Join(b.Dir, strconv.Itoa(b.n))
	list, err := b.lay(dir, s)
	if err != nil {
		return "", fmt.Errorf("write overlay: %w", err)
	}
	binary = filepath.Join(dir, filepath.Base(pkg))
	cmd := exec.CommandContext(ctx, "go", "build", "-overlay", list, "-o", binary, "./"+pkg)
	cmd.Dir = b.Root
	if out, err := cmd.CombinedOutput(); err != nil {
		return "", fmt.Errorf("build %s: %w\n%s", pkg, err, out)
	}
	return binary, nil
}
