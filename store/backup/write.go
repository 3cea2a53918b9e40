// Package backup writes store and ledger of a running room into one file, and puts
// such a file in place.
//
//	tar:  store.db       the whole store, of one transaction
//	      memory.json    zones.Memory: what the ledger held just after it
//	      manifest.json  size and SHA-256 of both; last, so that a file cut short
//	                     has none
//
// A backup is old when it is used. Where the ledger in place is sound it is left
// alone: it knows what water was given since. Where it is lost, or on a new card,
// the backup's memory goes on with every budget spent until a person resets it.
// Its epoch may be lower than what the controllers have seen; the core raises it
// from their reports before it opens anything.
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
	"time"

	"rillgate/zones"
)

const (
	storeName    = "store.db"
	memoryName   = "memory.json"
	manifestName = "manifest.json"
	format       = 1
)

// What reading a backup can say; test with errors.Is.
var (
	// ErrDamaged: the file is cut short, changed, or no backup.
	ErrDamaged = errors.New("the backup is damaged, or is none")
	// ErrNewer: a later version of the program wrote the backup.
	ErrNewer = errors.New("the backup is newer than this program")
)

// Manifest tells what a backup holds.
type Manifest struct {
	Format  int       `json:"format"`
	Made    time.Time `json:"made"`
	Install string    `json:"install"` // of the store
	Plan    string    `json:"plan"`    // hash in force
	Seq     uint64    `json:"seq"`     // of the ledger
	Epoch   uint32    `json:"epoch"`
	Files   []File    `json:"files"`
}

// File is one member of a backup.
type File struct {
	Name   string `json:"name"`
	Size   int64  `json:"size"`
	SHA256 string `json:"sha256"`
}

// Store is what is copied.
type Store interface {
	WriteTo(w io.Writer) (int64, error)
	Install() (string, error)
}

// Ledger gives what is durable.
type Ledger interface{ Memory() *zones.Memory }

// Write writes a backup while both are in use. The store is copied to a file in
// dir first, so that a slow reader of w never holds a transaction open.
func Write(w io.Writer, s Store, l Ledger, dir string, now time.Time) (Manifest, error) {
	m, err := write(w, s, l, dir, now)
	if err != nil {
		return m, fmt.Errorf("write a backup: %w", err)
	}
	return m, nil
}

func write(w io.Writer, s Store, l Ledger, dir string, now time.Time) (Manifest, error) {
	copied, err := copyOf(s, dir)
	if err != nil {
		return Manifest{}, err
	}
	defer os.Remove(copied.Name())
	defer copied.Close()
	memory := l.Memory() // after the store: its mirror is never the later one
	install, err := s.Install()
	if err != nil {
		return Manifest{}, err
	}
	m := Manifest{Format: format, Made: now.UTC(), Install: install, Plan: memory.Plan, Seq: memory.Seq, Epoch: memory.Epoch}
	t := tar.NewWriter(w)
	if err := m.add(t, storeName, copied); err != nil {
		return m, err
	}
	data, err := json.Marshal(memory)
	if err != nil {
		return m, err
	}
	if err := m.addBytes(t, memoryName, data); err != nil {
		return m, err
	}
	list, err := json.MarshalIndent(m, "", "  ")
	if err != nil {
		return m, err
	}
	if err := member(t, manifestName, int64(len(list)), m.Made); err != nil {
		return m, err
	}
	_, err = t.Write(list)
	return m, errors.Join(err, t.Close())
}

// copyOf gives the store in a file of its own, read from the start.
func copyOf(s Store, dir string) (*os.File, error) {
	f, err := os.CreateTemp(dir, ".backup-*")
	if err != nil {
		return nil, err
	}
	_, err = s.WriteTo(f)
	if err == nil {
		_, err = f.Seek(0, io.SeekStart)
	}
	if err != nil {
		f.Close()
		os.Remove(f.Name())
		return nil, err
	}
	return f, nil
}

// add writes a file as a member and notes it in the manifest.
func (m *Manifest) add(t *tar.Writer, name string, f *os.File) error {
	info, err := f.Stat()
	if err != nil {
		return err
	}
	if err := member(t, name, info.Size(), m.Made); err != nil {
		return err
	}
	sum := sha256.New()
	if _, err := io.Copy(io.MultiWriter(t, sum), f); err != nil {
		return err
	}
	m.Files = append(m.Files, File{name, info.Size(), hex.EncodeToString(sum.Sum(nil))})
	return nil
}

func (m *Manifest) addBytes(t *tar.Writer, name string, data []byte) error {
	if err := member(t, name, int64(len(data)), m.Made); err != nil {
		return err
	}
	sum := sha256.Sum256(data)
	m.Files = append(m.Files, File{name, int64(len(data)), hex.EncodeToString(sum[:])})
	_, err := t.Write(data)
	return err
}

func member(t *tar.Writer, name string, size int64, made time.Time) error {
	return t.WriteHeader(&tar.Header{Name: name, Mode: 0o640, Size: size, ModTime: made, Format: tar.FormatPAX})
}
