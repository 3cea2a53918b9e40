package ledger

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"
)

// Disk is the directory that holds a ledger. Tests put one in memory in its
// place, which fails and forgets on demand.
type Disk interface {
	// Lock takes the directory for this process until Close, or gives ErrLocked.
	Lock() error
	// Read gives a whole file, or an error that is fs.ErrNotExist.
	Read(name string) ([]byte, error)
	// Create puts a file in place whole and durable, or leaves what was there.
	Create(name string, data []byte) error
	// Open opens a file for writing in place; its size must never change.
	Open(name string) (File, error)
	Close() error
}

// File is a segment being written. After Sync gives nil all that was written is
// durable.
type File interface {
	io.WriterAt
	Sync() error
	Close() error
}

// directory is the Disk of the real world.
type directory struct {
	path string
	fd   int // of the directory while locked, else -1
}

func newDirectory(path string) *directory { return &directory{path: path, fd: -1} }

func (d *directory) Lock() error {
	if err := os.MkdirAll(d.path, 0o750); err != nil {
		return err
	}
	fd, err := unix.Open(d.path, unix.O_RDONLY|unix.O_DIRECTORY|unix.O_CLOEXEC, 0)
	if err != nil {
		return &os.PathError{Op: "open", Path: d.path, Err: err}
	}
	if err := unix.Flock(fd, unix.LOCK_EX|unix.LOCK_NB); err != nil {
		unix.Close(fd)
		if errors.Is(err, unix.EWOULDBLOCK) {
			return fmt.Errorf("lock %s: %w", d.path, ErrLocked)
		}
		return &os.PathError{Op: "lock", Path: d.path, Err: err}
	}
	d.fd = fd
	return nil
}

func (d *directory) Read(name string) ([]byte, error) {
	return os.ReadFile(filepath.Join(d.path, name))
}

func (d *directory) Create(name string, data []byte) error {
	temp := filepath.Join(d.path, name+".new")
	if err := writeDurable(temp, data); err != nil {
		os.Remove(temp)
		return err
	}
	if err := os.Rename(temp, filepath.Join(d.path, name)); err != nil {
		return err
	}
	return syncDirectory(d.path)
}

// writeDurable allocates the blocks before writing them, so that a full disk is
// told here and never later.
func writeDurable(path string, data []byte) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o640)
	if err != nil {
		return err
	}
	defer f.Close()
	err = unix.Fallocate(int(f.Fd()), 0, 0, int64(len(data)))
	if err != nil && !errors.Is(err, unix.EOPNOTSUPP) {
		return &os.PathError{Op: "allocate", Path: path, Err: err}
	}
	if _, err := f.Write(data); err != nil {
		return err
	}
	return f.Sync()
}

func syncDirectory(path string) error {
	d, err := os.Open(path)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}

func (d *directory) Open(name string) (File, error) {
	f, err := os.OpenFile(filepath.Join(d.path, name), os.O_WRONLY, 0)
	if err != nil {
		return nil, err
	}
	return datasync{f}, nil
}

func (d *directory) Close() error {
	if d.fd < 0 {
		return nil
	}
	err := unix.Close(d.fd)
	d.fd = -1
	return err
}

// datasync syncs the data alone: the size never changes, the times do not matter.
type datasync struct{ *os.File }

func (f datasync) Sync() error {
	for {
		err := unix.Fdatasync(int(f.Fd()))
		if !errors.Is(err, unix.EINTR) {
			return err
		}
	}
}
