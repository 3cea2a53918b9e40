package store

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"hash/crc32"

	bolt "go.etcd.io/bbolt"
)

// bucketName names a bucket at the root of the file.
type bucketName string

const (
	metaBucket     bucketName = "meta"
	plansBucket    bucketName = "plans"
	registerBucket bucketName = "register"
	journalBucket  bucketName = "journal"
	historyBucket  bucketName = "history"
	mirrorBucket   bucketName = "mirror"
	alarmsBucket   bucketName = "alarms"
	papersBucket   bucketName = "papers"
)

func allBuckets() []bucketName {
	return []bucketName{metaBucket, plansBucket, registerBucket, journalBucket, historyBucket, mirrorBucket, alarmsBucket, papersBucket}
}

// stateBuckets are walked whole before the file is trusted; damage in the others
// costs a line of the journal or five minutes of history.
func stateBuckets() []bucketName {
	return []bucketName{metaBucket, plansBucket, registerBucket, mirrorBucket, alarmsBucket}
}

// checksum is CRC-32C over bucket, key and value, so that a stale or misplaced
// page is found as well as a flipped bit.
func checksum(bucket bucketName, key, value []byte) uint32 {
	table := crc32.MakeTable(crc32.Castagnoli)
	sum := crc32.Update(0, table, []byte(bucket))
	sum = crc32.Update(sum, table, key)
	return crc32.Update(sum, table, value)
}

// sealed puts the checksum before the value.
func sealed(bucket bucketName, key, value []byte) []byte {
	out := make([]byte, 4, 4+len(value))
	binary.LittleEndian.PutUint32(out, checksum(bucket, key, value))
	return append(out, value...)
}

// unsealed checks a stored value and gives it without its checksum. It points
// into the file and is good only inside the transaction.
func unsealed(bucket bucketName, key, stored []byte) ([]byte, error) {
	if len(stored) < 4 || binary.LittleEndian.Uint32(stored) != checksum(bucket, key, stored[4:]) {
		return nil, fmt.Errorf("%w: the checksum of %s %q is wrong", ErrDamaged, bucket, key)
	}
	return stored[4:], nil
}

// at gives a bucket, or ErrDamaged where there is none.
func at(tx *bolt.Tx, bucket bucketName) (*bolt.Bucket, error) {
	b := tx.Bucket([]byte(bucket))
	if b == nil {
		return nil, fmt.Errorf("%w: it has no bucket %s", ErrDamaged, bucket)
	}
	return b, nil
}

func put(tx *bolt.Tx, bucket bucketName, key string, value []byte) error {
	b, err := at(tx, bucket)
	if err != nil {
		return err
	}
	return b.Put([]byte(key), sealed(bucket, []byte(key), value))
}

// get gives a value, good inside the transaction, or ErrNotFound.
func get(tx *bolt.Tx, bucket bucketName, key string) ([]byte, error) {
	b, err := at(tx, bucket)
	if err != nil {
		return nil, err
	}
	stored := b.Get([]byte(key))
	if stored == nil {
		return nil, fmt.Errorf("%s %q: %w", bucket, key, ErrNotFound)
	}
	return unsealed(bucket, []byte(key), stored)
}

func putJSON(tx *bolt.Tx, bucket bucketName, key string, value any) error {
	data, err := json.Marshal(value)
	if err != nil {
		return fmt.Errorf("encode %s %q: %w", bucket, key, err)
	}
	return put(tx, bucket, key, data)
}

func getJSON(tx *bolt.Tx, bucket bucketName, key string, value any) error {
	data, err := get(tx, bucket, key)
	if err != nil {
		return err
	}
	return decode(bucket, []byte(key), data, value)
}

func decode(bucket bucketName, key, data []byte, value any) error {
	if err := json.Unmarshal(data, value); err != nil {
		return fmt.Errorf("%w: %s %q: %w", ErrDamaged, bucket, key, err)
	}
	return nil
}

// each decodes every value of a bucket in order of key; a value whose checksum is
// wrong is left out and counted.
func each[T any](s *Store, bucket bucketName) ([]T, error) {
	var all []T
	err := s.view("read "+string(bucket), func(tx *bolt.Tx) error {
		b, err := at(tx, bucket)
		if err != nil {
			return err
		}
		return b.ForEach(func(k, stored []byte) error {
			var one T
			if s.load(bucket, k, stored, &one) {
				all = append(all, one)
			}
			return nil
		})
	})
	return all, err
}

// load decodes one stored value; false = it is damaged, which is counted.
func (s *Store) load(bucket bucketName, key, stored []byte, value any) bool {
	data, err := unsealed(bucket, key, stored)
	if err == nil {
		err = decode(bucket, key, data, value)
	}
	if err != nil {
		s.damagedValues.Add(1)
	}
	return err == nil
}
