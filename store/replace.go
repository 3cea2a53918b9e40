package store

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	bolt "go.etcd.io/bbolt"

	"rillgate/zones"
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

// seqJump is how far the journal's numbers jump after a restore: those given since
// the backup must not be given again.
const seqJump = 100_000

// Adopt readies a store from a backup for the place of another: its mirror becomes
// m, and its journal goes on behind all numbers given so far, of which `after` is
// the first free one of the store that it replaces (0 = unknown).
func (s *Store) Adopt(m *zones.Memory, after uint64) error {
	floor := max(s.nextSeq+seqJump, after)
	return s.update("adopt a backup", func(tx *bolt.Tx) error {
		if err := put(tx, metaBucket, keySeqFloor, seqKey(floor)); err != nil {
			return err
		}
		return putJSON(tx, mirrorBucket, keyMemory, m)
	})
}

// Replace puts the checked store at with, on the same file system, in the place of
// path, and keeps the old one under the name it gives; "" = there was none. No
// process may have path open.
func Replace(path, with string, now time.Time) (kept string, err error) {
	_, err = os.Lstat(path)
	switch {
	case err == nil:
		kept, err = putAside(path, "before-restore", now)
	case errors.Is(err, fs.ErrNotExist):
		err = os.MkdirAll(filepath.Dir(path), 0o750)
	}
	if err == nil {
		err = os.Rename(with, path)
	}
	if err == nil {
		err = syncDirectory(filepath.Dir(path))
	}
	if err != nil {
		return kept, fmt.Errorf("replace store %s: %w", path, named(err))
	}
	return kept, nil
}
