package store

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"runtime/debug"
	"strings"
	"syscall"

	bolt "go.etcd.io/bbolt"
	berrors "go.etcd.io/bbolt/errors"
)

// view runs fn on a read transaction. What it reads must be copied before it
// returns: an open reader keeps the writer from growing the file.
func (s *Store) view(what string, fn func(*bolt.Tx) error) error {
	if err := s.usable(); err != nil {
		return s.wrap(what, err)
	}
	return s.judge(what, guarded(func() error { return s.db.View(fn) }))
}

// update runs fn on the one write transaction. When there is no room it drops the
// oldest day of history, never state, and tries again.
func (s *Store) update(what string, fn func(*bolt.Tx) error) error {
	if s.readOnly {
		return s.wrap(what, fmt.Errorf("%w: it is open for reading", ErrReadOnly))
	}
	err := s.commit(what, fn)
	for range dropsPerWrite {
		if !errors.Is(err, ErrFull) {
			return err
		}
		dropped := false
		drop := s.commit("drop history", func(tx *bolt.Tx) (err error) {
			dropped, err = dropOldestDay(tx)
			return err
		})
		if drop != nil || !dropped {
			return err
		}
		s.droppedDays.Add(1)
		err = s.commit(what, fn)
	}
	return err
}

const dropsPerWrite = 4

func (s *Store) commit(what string, fn func(*bolt.Tx) error) error {
	if err := s.usable(); err != nil {
		return s.wrap(what, err)
	}
	if fault := s.fault.Load(); fault != nil {
		return s.judge(what, *fault)
	}
	err := guarded(func() error {
		return s.db.Update(func(tx *bolt.Tx) error {
			s.reserve(tx)
			return fn(tx)
		})
	})
	s.commits.Add(1)
	return s.judge(what, err)
}

// usable gives what ended the store, if anything did.
func (s *Store) usable() error {
	if dead := s.dead.Load(); dead != nil {
		return *dead
	}
	return nil
}

// guarded turns a panic or a fault on a damaged page into ErrDamaged.
func guarded(fn func() error) (err error) {
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("%w: %w", errPanicked, fmt.Errorf("%w: %v", ErrDamaged, p))
		}
	}()
	return fn()
}

var errPanicked = errors.New("it could not be read")

// judge names an error, and ends the store where nothing more can be trusted: after
// damage to its pages, and after a disk error (INV-25).
func (s *Store) judge(what string, err error) error {
	if err == nil {
		return nil
	}
	err = named(err)
	if errors.Is(err, errPanicked) || errors.Is(err, ErrFailed) {
		s.dead.CompareAndSwap(nil, &err)
	}
	if errors.Is(err, errPanicked) && !s.readOnly {
		_ = os.WriteFile(s.path+suspectSuffix, []byte(err.Error()+"\n"), 0o640) // best effort: the next start looks closer
	}
	return s.wrap(what, err)
}

func (s *Store) wrap(what string, err error) error {
	return fmt.Errorf("%s in %s: %w", what, s.path, err)
}

// named adds our sentinel to an error of bbolt or the system.
func named(err error) error {
	for _, known := range []error{ErrLocked, ErrNewer, ErrDamaged, ErrReadOnly, ErrFull, ErrFailed, ErrNotFound} {
		if errors.Is(err, known) {
			return err
		}
	}
	for _, n := range names() {
		for _, cause := range n.causes {
			if errors.Is(err, cause) || saysAtTheEnd(err, cause) {
				return fmt.Errorf("%w (%w)", n.as, err)
			}
		}
	}
	return err
}

// saysAtTheEnd finds an error of the system that bbolt gave on as text alone: it
// does so when the file cannot grow.
func saysAtTheEnd(err, cause error) bool {
	_, system := cause.(syscall.Errno)
	return system && strings.HasSuffix(err.Error(), ": "+cause.Error())
}

type naming struct {
	as     error
	causes []error
}

func names() []naming {
	return []naming{
		{ErrLocked, []error{berrors.ErrTimeout}},
		{ErrFull, []error{berrors.ErrMaxSizeReached, syscall.ENOSPC, syscall.EDQUOT, syscall.EFBIG}},
		{ErrReadOnly, []error{syscall.EROFS, fs.ErrPermission, berrors.ErrDatabaseReadOnly}},
		{ErrFailed, []error{syscall.EIO, syscall.ENODEV, syscall.ENXIO}},
		{ErrDamaged, []error{berrors.ErrInvalid, berrors.ErrChecksum, berrors.ErrVersionMismatch, berrors.ErrInvalidMapping}},
	}
}
