package store

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"sync/atomic"
	"time"

	bolt "go.etcd.io/bbolt"
)

// MaxSize is the greatest size of the file in bytes.
const MaxSize = 256 << 20

const (
	lockTimeout   = time.Second
	mapAhead      = 64 << 20 // so that a reader rarely keeps the writer waiting
	suspectSuffix = ".suspect"
)

// Options of Open. The zero value is right for the daemon.
type Options struct {
	// Now gives the wall clock for names and stamps; nil = time.Now.
	Now func() time.Time
	// MaxSize in bytes; 0 = MaxSize.
	MaxSize int

	schema     uint32 // tests of migrations; 0 = schema
	migrations []migration
	openFile   func(string, int, os.FileMode) (*os.File, error)
	noSync     bool
}

// Opened tells what Open found.
type Opened struct {
	// Fresh: there was no file.
	Fresh bool
	// Damaged: the file could not be trusted; it is kept under the name Kept and a
	// new one was begun. Detail says what was wrong.
	Damaged bool
	Kept    string
	Detail  string
	// Unclean: the last process that wrote did not close the store.
	Unclean bool
	// Migrated is the schema the file had before, 0 = this one.
	Migrated uint32
}

// Store is an open store. Its methods may be called from any goroutine.
type Store struct {
	db            *bolt.DB
	path          string
	readOnly      bool
	now           func() time.Time
	nextSeq       uint64
	reserved      int64 // up to where the file has blocks
	noReserve     bool
	dead          atomic.Pointer[error]
	fault         atomic.Pointer[error]
	damagedValues atomic.Int64
	droppedDays   atomic.Int64
	commits       atomic.Int64
}

func (o Options) filled() Options {
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.MaxSize == 0 {
		o.MaxSize = MaxSize
	}
	if o.schema == 0 {
		o.schema, o.migrations = schema, migrations()
	}
	return o
}

// Open opens the store at path for writing, after a child process has looked at
// it; main must call ProbeMain first of all. A damaged file is put aside. ErrLocked,
// ErrNewer, ErrReadOnly and ErrFull mean that there is no store to write to.
func Open(path string, o Options) (*Store, Opened, error) {
	o = o.filled()
	opened, err := prepare(path, o)
	if err != nil {
		return nil, opened, fmt.Errorf("open store %s: %w", path, named(err))
	}
	s := &Store{path: path, now: o.Now}
	if err := s.open(o); err != nil {
		return nil, opened, fmt.Errorf("open store %s: %w", path, named(err))
	}
	if err := s.start(o, &opened); err != nil {
		s.db.Close()
		return nil, opened, err
	}
	return s, opened, nil
}

// prepare sees to it that there is a sound file at path.
func prepare(path string, o Options) (Opened, error) {
	_, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return Opened{Fresh: true}, create(path, o)
	}
	if err != nil {
		return Opened{}, err
	}
	err = probe(path)
	if !errors.Is(err, ErrDamaged) {
		return Opened{}, err
	}
	opened := Opened{Damaged: true, Detail: err.Error()}
	if opened.Kept, err = putAside(path, "damaged", o.Now()); err != nil {
		return opened, err
	}
	return opened, create(path, o)
}

func (s *Store) open(o Options) error {
	return guarded(func() error {
		db, err := bolt.Open(s.path, 0o640, &bolt.Options{
			Timeout:         lockTimeout,
			FreelistType:    bolt.FreelistMapType,
			InitialMmapSize: mapAhead,
			MaxSize:         o.MaxSize,
			OpenFile:        o.openFile,
			NoSync:          o.noSync,
		})
		if err != nil {
			return err
		}
		db.AllocSize = reserveStep
		s.db = db
		return nil
	})
}

// start marks the file as open, which also shows whether it can be written.
func (s *Store) start(o Options, opened *Opened) error {
	was, err := s.schemaOf(o)
	if err != nil {
		return err
	}
	if was < o.schema {
		opened.Migrated = was
		if err := s.migrate(was, o); err != nil {
			return err
		}
	}
	if err := os.Remove(s.path + suspectSuffix); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return s.wrap("forget a doubt", named(err))
	}
	return s.update("mark as open", func(tx *bolt.Tx) error {
		_, err := get(tx, metaBucket, keyOpen)
		opened.Unclean = err == nil
		if s.nextSeq, err = firstFreeSeq(tx, opened.Unclean); err != nil {
			return err
		}
		return put(tx, metaBucket, keyOpen, []byte(s.now().UTC().Format(time.RFC3339)))
	})
}

// OpenReadOnly opens the store for looking at, while no daemon runs: ErrLocked
// says that one does.
func OpenReadOnly(path string) (*Store, error) {
	s := &Store{path: path, readOnly: true, now: time.Now}
	err := guarded(func() (err error) {
		if err = bigEnough(path); err != nil {
			return err
		}
		s.db, err = bolt.Open(path, 0, &bolt.Options{Timeout: lockTimeout, ReadOnly: true})
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("open store %s for reading: %w", path, named(err))
	}
	_, err = s.schemaOf(Options{}.filled())
	if err == nil {
		err = s.view("look at the journal", func(tx *bolt.Tx) (err error) {
			_, open := get(tx, metaBucket, keyOpen)
			s.nextSeq, err = firstFreeSeq(tx, open == nil)
			return err
		})
	}
	if err != nil {
		s.db.Close()
		return nil, err
	}
	return s, nil
}

// bigEnough refuses a file that was cut short: bbolt takes an empty one for new.
func bigEnough(path string) error {
	info, err := os.Stat(path)
	if err != nil {
		return err
	}
	if info.Size() < 4*4096 {
		return fmt.Errorf("%w: the file has only %d bytes", ErrDamaged, info.Size())
	}
	return nil
}

// Close marks the end as clean and closes the file. A store that ended through
// damage is left to the end of the process: closing could wait for ever.
func (s *Store) Close() error {
	if dead := s.usable(); dead != nil {
		if errors.Is(dead, errPanicked) {
			return nil
		}
		return s.db.Close()
	}
	var err error
	if !s.readOnly {
		err = s.update("mark as closed", func(tx *bolt.Tx) error {
			b, err := at(tx, metaBucket)
			if err != nil {
				return err
			}
			return b.Delete([]byte(keyOpen))
		})
	}
	return errors.Join(err, s.db.Close())
}

// Stats counts since Open.
type Stats struct {
	Commits       int64
	Bytes         int64 // of pages handed to the system, without what the file system adds
	DamagedValues int64 // left out because their checksum was wrong
	DroppedDays   int64 // of history, for want of room
}

// Stats gives the counts since Open.
func (s *Store) Stats() Stats {
	st := s.db.Stats()
	n := s.commits.Load()
	return Stats{
		Commits:       n,
		Bytes:         st.TxStats.GetPageAlloc() + n*int64(s.db.Info().PageSize),
		DamagedValues: s.damagedValues.Load(),
		DroppedDays:   s.droppedDays.Load(),
	}
}
