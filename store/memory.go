package store

import (
	"os"
	"path/filepath"

	"golang.org/x/sys/unix"
)

// NewMemory gives a store in memory for tests: all of the real one but the disk.
// Close forgets it.
func NewMemory() (*Store, error) {
	o := Options{noSync: true, openFile: openMemory}.filled()
	s := &Store{path: "memory", now: o.Now, noReserve: true}
	if err := s.open(o); err != nil {
		return nil, err
	}
	if err := fill(s.db, o); err != nil {
		return nil, err
	}
	return s, s.start(o, &Opened{})
}

// openMemory gives a file without a name.
func openMemory(name string, _ int, _ os.FileMode) (*os.File, error) {
	fd, err := unix.MemfdCreate(filepath.Base(name), unix.MFD_CLOEXEC)
	if err != nil {
		return nil, err
	}
	return os.NewFile(uintptr(fd), name), nil
}

// FailWrites makes every later write fail with err, for tests of others; nil ends
// it. An error such as syscall.ENOSPC is named as one of the disk is.
func (s *Store) FailWrites(err error) {
	if err == nil {
		s.fault.Store(nil)
		return
	}
	s.fault.Store(&err)
}
