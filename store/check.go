package store

import (
	"fmt"
	"os"
)

// Check looks at every page of a store that nobody writes, in a child process. It
// gives ErrDamaged, ErrNewer or ErrLocked.
func Check(path string) error {
	suspect := path + suspectSuffix
	if err := os.WriteFile(suspect, []byte("checked on demand\n"), 0o640); err != nil {
		return fmt.Errorf("check store %s: %w", path, named(err))
	}
	if err := probe(path); err != nil {
		return fmt.Errorf("check store %s: %w", path, err)
	}
	return os.Remove(suspect)
}
