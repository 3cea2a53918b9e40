package store

import (
	"encoding/binary"
	"errors"
	"fmt"
	"os"

	bolt "go.etcd.io/bbolt"
)

// schema is the number of the layout drawn in the package comment. Whoever changes
// the layout raises it, adds a migration, and a file of the old one to
// testdata/stores.
const schema = 2

// migration brings a file from the schema before `to` to it.
type migration struct {
	to   uint32
	what string
	run  func(*bolt.Tx) error
}

// migrations gives the steps in order.
func migrations() []migration {
	return []migration{{to: 2, what: "add the bucket of papers", run: func(tx *bolt.Tx) error {
		_, err := tx.CreateBucketIfNotExists([]byte(papersBucket))
		return err
	}}}
}

// readSchema gives the schema of a file, ErrNewer over highest, ErrDamaged where
// there is none: an empty file must not pass for a new one.
func readSchema(tx *bolt.Tx, highest uint32) (uint32, error) {
	data, err := get(tx, metaBucket, keySchema)
	if errors.Is(err, ErrNotFound) || err == nil && len(data) != 4 {
		return 0, fmt.Errorf("%w: it names no schema", ErrDamaged)
	}
	if err != nil {
		return 0, err
	}
	if _, err := get(tx, metaBucket, keyInstall); err != nil {
		return 0, fmt.Errorf("%w: it has no install id", ErrDamaged)
	}
	n := binary.LittleEndian.Uint32(data)
	if n > highest {
		return n, fmt.Errorf("%w (it has %d, this program knows %d)", ErrNewer, n, highest)
	}
	return n, nil
}

func (s *Store) schemaOf(o Options) (n uint32, err error) {
	err = s.view("read the schema", func(tx *bolt.Tx) (err error) {
		n, err = readSchema(tx, o.schema)
		return err
	})
	return n, err
}

// migrate keeps a copy of the file, then takes all steps in one transaction.
func (s *Store) migrate(from uint32, o Options) error {
	if err := s.keepCopy(fmt.Sprintf("%s.schema-%d", s.path, from)); err != nil {
		return err
	}
	return s.update(fmt.Sprintf("migrate from schema %d", from), func(tx *bolt.Tx) error {
		for _, m := range o.migrations {
			if m.to <= from {
				continue
			}
			if err := m.run(tx); err != nil {
				return fmt.Errorf("%s: %w", m.what, err)
			}
		}
		return put(tx, metaBucket, keySchema, binary.LittleEndian.AppendUint32(nil, o.schema))
	})
}

// keepCopy writes the whole store to a file, durable when it returns.
func (s *Store) keepCopy(path string) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o640)
	if err != nil {
		return s.wrap("keep a copy", named(err))
	}
	_, err = s.WriteTo(f)
	return errors.Join(err, f.Sync(), f.Close())
}
