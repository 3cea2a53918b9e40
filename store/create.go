package store

import (
	"crypto/rand"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	bolt "go.etcd.io/bbolt"
)

const (
	keySchema  = "schema"
	keyInstall = "install"
	keyCreated = "created"
	keyOpen    = "open"
	keyInForce = "plan-in-force"

	keySeqFloor = "seq-floor"
)

// create makes a new file under another name and puts it in place whole: the
// first pages of bbolt are not written atomically.
func create(path string, o Options) error {
	temp := path + ".new"
	if err := os.Remove(temp); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o750); err != nil {
		return err
	}
	db, err := bolt.Open(temp, 0o640, &bolt.Options{Timeout: lockTimeout, FreelistType: bolt.FreelistMapType})
	if err != nil {
		return err
	}
	err = errors.Join(fill(db, o), db.Sync(), db.Close())
	if err != nil {
		os.Remove(temp)
		return err
	}
	if err := os.Rename(temp, path); err != nil {
		return err
	}
	return syncDirectory(filepath.Dir(path))
}

// fill writes the buckets and what tells the file from an empty one.
func fill(db *bolt.DB, o Options) error {
	id := make([]byte, 16)
	if _, err := rand.Read(id); err != nil {
		return err
	}
	return db.Update(func(tx *bolt.Tx) error {
		for _, name := range allBuckets() {
			if _, err := tx.CreateBucketIfNotExists([]byte(name)); err != nil {
				return err
			}
		}
		return errors.Join(
			put(tx, metaBucket, keySchema, binary.LittleEndian.AppendUint32(nil, o.schema)),
			put(tx, metaBucket, keyInstall, []byte(hex.EncodeToString(id))),
			put(tx, metaBucket, keyCreated, []byte(o.Now().UTC().Format(time.RFC3339))))
	})
}

func syncDirectory(path string) error {
	d, err := os.Open(path)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}

// keptFiles is how many files of one kind are put aside before the oldest goes: a
// card that damages files again and again must not fill itself.
const keptFiles = 3

// putAside renames a file so that it is kept for people; it gives the new path.
func putAside(path, why string, now time.Time) (string, error) {
	kept := fmt.Sprintf("%s.%s-%s", path, why, now.UTC().Format("20060102T150405Z"))
	for n := 2; ; n++ {
		if _, err := os.Lstat(kept); errors.Is(err, os.ErrNotExist) {
			break
		}
		kept = fmt.Sprintf("%s.%s-%s-%d", path, why, now.UTC().Format("20060102T150405Z"), n)
	}
	if err := os.Rename(path, kept); err != nil {
		return "", err
	}
	if err := os.Remove(path + suspectSuffix); err != nil && !errors.Is(err, os.ErrNotExist) {
		return kept, err
	}
	old, err := filepath.Glob(path + "." + why + "-*")
	if err != nil {
		return kept, err
	}
	slices.Sort(old)
	for _, name := range old[:max(0, len(old)-keptFiles)] {
		if err := os.Remove(name); err != nil {
			return kept, err
		}
	}
	return kept, syncDirectory(filepath.Dir(path))
}
