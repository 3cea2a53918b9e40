package store

import (
	"encoding/json"
	"strings"
	"time"

	bolt "go.etcd.io/bbolt"
)

// Paper is something that was learned, measured or walked, and that the room waters
// without: its body belongs to who wrote it. Kind holds no "/".
type Paper struct {
	Kind string          `json:"kind"`
	Key  string          `json:"key"`
	At   time.Time       `json:"at"`
	By   string          `json:"by,omitempty"`
	Body json.RawMessage `json:"body"`
}

func (p *Paper) name() string { return p.Kind + "/" + p.Key }

// SavePapers keeps papers, each in the place of the one of its kind and key.
func (s *Store) SavePapers(papers []Paper) error { return s.Write(Batch{Papers: papers}) }

// Papers gives those of a kind in order of key. Damaged ones are left out and counted.
// A store of before there were any has none.
func (s *Store) Papers(kind string) (all []Paper, err error) {
	prefix := kind + "/"
	err = s.view("read papers", func(tx *bolt.Tx) error {
		b := tx.Bucket([]byte(papersBucket))
		if b == nil {
			return nil
		}
		c := b.Cursor()
		for k, stored := c.Seek([]byte(prefix)); strings.HasPrefix(string(k), prefix); k, stored = c.Next() {
			var p Paper
			if s.load(papersBucket, k, stored, &p) {
				all = append(all, p)
			}
		}
		return nil
	})
	return all, err
}

// ForgetPaper takes one out.
func (s *Store) ForgetPaper(kind, key string) error {
	return s.remove(papersBucket, kind+"/"+key)
}
