package store

import (
	"os"

	bolt "go.etcd.io/bbolt"
	"golang.org/x/sys/unix"
)

const (
	reserveStep = 1 << 20
	reserveLow  = 256 << 10
	roomNeeded  = 32 << 20 // free on the disk, else there is no reserve
)

// reserve writes zeros behind the pages in use, a step at a time, so that a commit
// meets blocks that the file system has allocated already: finding each one its
// own block costs more bytes on flash than the zeros do. It is called inside a
// write transaction, before that takes any page, and only ever touches what no
// page is in yet. Without room there is no reserve, and nothing else changes.
func (s *Store) reserve(tx *bolt.Tx) {
	used := tx.Size()
	if s.noReserve || s.reserved-used > reserveLow || used+reserveStep > int64(s.db.MaxSize) {
		return
	}
	f, err := os.OpenFile(s.path, os.O_WRONLY, 0)
	if err != nil {
		s.noReserve = true
		return
	}
	defer f.Close()
	from := max(s.reserved, firstHole(f, used))
	if from-used <= reserveLow {
		if zero(f, from, used+reserveStep-from) != nil {
			s.noReserve = true
			return
		}
		from = used + reserveStep
	}
	s.reserved = from
}

// firstHole gives where the blocks of a file end, looked at from an offset on.
func firstHole(f *os.File, from int64) int64 {
	at, err := unix.Seek(int(f.Fd()), from, unix.SEEK_HOLE)
	if err != nil {
		return from
	}
	return at
}

// zero writes n zeros into a file and waits for the disk.
func zero(f *os.File, from, n int64) error {
	var disk unix.Statfs_t
	if err := unix.Fstatfs(int(f.Fd()), &disk); err != nil {
		return err
	}
	if disk.Bavail*uint64(disk.Bsize) < roomNeeded {
		return unix.ENOSPC
	}
	if _, err := f.WriteAt(make([]byte, n), from); err != nil {
		return err
	}
	return f.Sync()
}
