package backup

import (
	"archive/tar"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"time"

	"rillgate/store"
	"rillgate/store/ledger"
	"rillgate/zones"
)

// Staged is a backup that was read whole and checked, and is not in place yet.
type Staged struct {
	Manifest Manifest
	dir      string
	memory   *zones.Memory
}

// memberMost bounds a member of a backup in bytes.
const memberMost = 2 * store.MaxSize

// Stage reads a backup, checks every byte and every page, and lays it ready in dir,
// which must be on the file system of the store. Nothing that is in use changes:
// it may be done while the daemon runs. Call Discard when done.
func Stage(r io.Reader, dir string) (*Staged, error) {
	temp, err := os.MkdirTemp(dir, ".restore-*")
	if err != nil {
		return nil, fmt.Errorf("read a backup: %w", err)
	}
	s := &Staged{dir: temp}
	if err := s.read(r); err != nil {
		s.Discard()
		return nil, fmt.Errorf("read a backup: %w", err)
	}
	return s, nil
}

func (s *Staged) read(r io.Reader) error {
	found, err := s.unpack(r)
	if err != nil {
		return err
	}
	if err := s.readManifest(found); err != nil {
		return err
	}
	data, err := os.ReadFile(s.path(memoryName))
	if err != nil {
		return err
	}
	s.memory = &zones.Memory{}
	if err := json.Unmarshal(data, s.memory); err != nil {
		return fmt.Errorf("%w: %s: %w", ErrDamaged, memoryName, err)
	}
	return store.Check(s.path(storeName))
}

func (s *Staged) path(name string) string { return filepath.Join(s.dir, name) }

// unpack takes the members out and gives their sizes and sums.
func (s *Staged) unpack(r io.Reader) (map[string]File, error) {
	found := map[string]File{}
	t := tar.NewReader(r)
	for {
		h, err := t.Next()
		if errors.Is(err, io.EOF) {
			return found, nil
		}
		if err != nil {
			return nil, fmt.Errorf("%w: %w", ErrDamaged, err)
		}
		known := slices.Contains([]string{storeName, memoryName, manifestName}, h.Name)
		if _, twice := found[h.Name]; !known || twice || h.Typeflag != tar.TypeReg || h.Size > memberMost {
			return nil, fmt.Errorf("%w: what is %q doing in it?", ErrDamaged, h.Name)
		}
		if found[h.Name], err = s.extract(t, h.Name); err != nil {
			return nil, err
		}
	}
}

func (s *Staged) extract(r io.Reader, name string) (File, error) {
	f, err := os.OpenFile(s.path(name), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o640)
	if err != nil {
		return File{}, err
	}
	defer f.Close()
	sum := sha256.New()
	n, err := io.Copy(io.MultiWriter(f, sum), r)
	if errors.Is(err, io.ErrUnexpectedEOF) {
		err = fmt.Errorf("%w: it is cut short in %s", ErrDamaged, name)
	}
	if err == nil {
		err = f.Sync()
	}
	return File{name, n, hex.EncodeToString(sum.Sum(nil))}, err
}

func (s *Staged) readManifest(found map[string]File) error {
	data, err := os.ReadFile(s.path(manifestName))
	if errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("%w: it has no %s, so it was cut short", ErrDamaged, manifestName)
	}
	if err != nil {
		return err
	}
	if err := json.Unmarshal(data, &s.Manifest); err != nil {
		return fmt.Errorf("%w: %s: %w", ErrDamaged, manifestName, err)
	}
	if s.Manifest.Format > format {
		return fmt.Errorf("%w: format %d, this program knows %d", ErrNewer, s.Manifest.Format, format)
	}
	if len(s.Manifest.Files) != 2 {
		return fmt.Errorf("%w: its list names %d files", ErrDamaged, len(s.Manifest.Files))
	}
	for _, f := range s.Manifest.Files {
		if got, ok := found[f.Name]; !ok || f.Name == manifestName || got != f {
			return fmt.Errorf("%w: %s is not what the list says", ErrDamaged, f.Name)
		}
	}
	if s.Manifest.Files[0].Name == s.Manifest.Files[1].Name {
		return fmt.Errorf("%w: its list names one file twice", ErrDamaged)
	}
	return nil
}

// Discard removes what was laid ready.
func (s *Staged) Discard() { os.RemoveAll(s.dir) }

// Result tells what Install did.
type Result struct {
	// Kept is the name under which the old store lies; "" = there was none.
	Kept string
	// LedgerKept: the ledger in place was sound and stays. Else the backup's memory
	// goes on, with all budgets spent.
	LedgerKept bool
}

// Install puts the backup in place. The daemon must have closed both: a ledger
// that another process holds gives ledger.ErrLocked. The ledger comes first: cut
// short between the two, the old store goes on beside a ledger that is sound.
func (s *Staged) Install(storePath, ledgerDir string, now time.Time) (Result, error) {
	l, rec, err := ledger.Open(ledgerDir, ledger.Options{})
	if err != nil {
		return Result{}, fmt.Errorf("restore: %w", err)
	}
	defer l.Close()
	done := Result{LedgerKept: !rec.Fresh && !rec.Lost}
	if !done.LedgerKept {
		if err := l.Adopt(s.memory); err != nil {
			return done, fmt.Errorf("restore: %w", err)
		}
	}
	if err := s.adopt(l.Memory(), nextSeq(storePath)); err != nil {
		return done, fmt.Errorf("restore: %w", err)
	}
	if done.Kept, err = store.Replace(storePath, s.path(storeName), now); err != nil {
		return done, fmt.Errorf("restore: %w", err)
	}
	return done, nil
}

// adopt readies the staged store: a mirror later than the ledger would look like a
// loss.
func (s *Staged) adopt(m *zones.Memory, after uint64) error {
	st, _, err := store.Open(s.path(storeName), store.Options{})
	if err != nil {
		return err
	}
	return errors.Join(st.Adopt(m, after), st.Close())
}

// nextSeq gives the first free number of the journal in place, 0 where none can be
// read.
func nextSeq(path string) uint64 {
	st, err := store.OpenReadOnly(path)
	if err != nil {
		return 0
	}
	defer st.Close()
	return st.NextSeq()
}
