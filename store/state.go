package store

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	bolt "go.etcd.io/bbolt"

	"rillgate/zones"
)

// Batch is what one transaction writes; empty parts cost nothing. One commit takes
// some 35 KB of flash whatever is in it, so callers gather for minutes.
type Batch struct {
	Journal []JournalEntry
	History []Sample
	Probes  []Probe
	Papers  []Paper
	Mirror  *zones.Memory
}

// Write makes a batch durable, whole or not at all. With ErrFull the oldest days
// of history were dropped first.
func (s *Store) Write(b Batch) error {
	return s.update("write a batch", func(tx *bolt.Tx) error {
		if len(b.Journal) > 0 {
			if err := putJournal(tx, b.Journal); err != nil {
				return err
			}
		}
		if err := putHistory(tx, b.History); err != nil {
			return err
		}
		for i := range b.Probes {
			if err := putJSON(tx, registerBucket, b.Probes[i].Place.String(), &b.Probes[i]); err != nil {
				return err
			}
		}
		for i := range b.Papers {
			if err := putJSON(tx, papersBucket, b.Papers[i].name(), &b.Papers[i]); err != nil {
				return err
			}
		}
		if b.Mirror == nil {
			return nil
		}
		return putJSON(tx, mirrorBucket, keyMemory, b.Mirror)
	})
}

const keyMemory = "memory"

// SaveMirror keeps a copy of the ledger's memory.
func (s *Store) SaveMirror(m *zones.Memory) error { return s.Write(Batch{Mirror: m}) }

// Mirror gives the copy of the ledger's memory, nil where there is none.
func (s *Store) Mirror() (*zones.Memory, error) {
	m := &zones.Memory{}
	err := s.view("read the mirror", func(tx *bolt.Tx) error { return getJSON(tx, mirrorBucket, keyMemory, m) })
	if errors.Is(err, ErrNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return m, nil
}

// Probe is one probe as it was found on the wire or in the files.
type Probe struct {
	Place     zones.Place `json:"place"`
	ID        string      `json:"id,omitempty"`
	Serial    string      `json:"serial,omitempty"`
	Zone      string      `json:"zone,omitempty"`
	Label     string      `json:"label,omitempty"`
	FirstSeen time.Time   `json:"first_seen"`
	LastSeen  time.Time   `json:"last_seen"` // saved when it matters, not at each reading
}

// SaveProbes puts probes into the register by their place.
func (s *Store) SaveProbes(probes []Probe) error { return s.Write(Batch{Probes: probes}) }

// Probes gives the register in order of place.
func (s *Store) Probes() ([]Probe, error) { return each[Probe](s, registerBucket) }

// ForgetProbe takes a place out of the register.
func (s *Store) ForgetProbe(place zones.Place) error {
	return s.remove(registerBucket, place.String())
}

// Acknowledgement silences an alarm of one code and subject.
type Acknowledgement struct {
	Code    zones.Reason `json:"code"`
	Subject string       `json:"subject"`
	At      time.Time    `json:"at"`
	By      string       `json:"by,omitempty"`
}

func alarmKey(code zones.Reason, subject string) string { return string(code) + " " + subject }

// Acknowledge keeps that an alarm was acknowledged.
func (s *Store) Acknowledge(a Acknowledgement) error {
	return s.update("acknowledge "+alarmKey(a.Code, a.Subject), func(tx *bolt.Tx) error {
		return putJSON(tx, alarmsBucket, alarmKey(a.Code, a.Subject), &a)
	})
}

// Acknowledged gives what is acknowledged, in order of code and subject.
func (s *Store) Acknowledged() ([]Acknowledgement, error) {
	return each[Acknowledgement](s, alarmsBucket)
}

// ForgetAlarm ends an acknowledgement, when the alarm is over.
func (s *Store) ForgetAlarm(code zones.Reason, subject string) error {
	return s.remove(alarmsBucket, alarmKey(code, subject))
}

func (s *Store) remove(bucket bucketName, key string) error {
	return s.update("remove from "+string(bucket), func(tx *bolt.Tx) error {
		b, err := at(tx, bucket)
		if err != nil {
			return err
		}
		return b.Delete([]byte(key))
	})
}

// Plan is the three files of one accepted configuration, byte for byte.
type Plan struct {
	Hash     string    `json:"hash"`
	Room     []byte    `json:"room"`
	Schedule []byte    `json:"schedule"`
	Gateway  []byte    `json:"gateway"`
	Accepted time.Time `json:"accepted"`
	By       string    `json:"by,omitempty"`
	Note     string    `json:"note,omitempty"`
	InForce  bool      `json:"-"`
}

// plansKept is the number of plans kept, the one in force not counted.
const plansKept = 100

// SavePlan keeps an accepted plan and puts it in force. A plan that was there
// keeps its first time and name.
func (s *Store) SavePlan(p Plan) error {
	if p.Hash == "" {
		return fmt.Errorf("save a plan: it has no hash")
	}
	return s.update("save plan "+p.Hash, func(tx *bolt.Tx) error {
		_, err := get(tx, plansBucket, p.Hash)
		if errors.Is(err, ErrNotFound) {
			err = putJSON(tx, plansBucket, p.Hash, &p)
		}
		if err != nil {
			return err
		}
		if err := put(tx, metaBucket, keyInForce, []byte(p.Hash)); err != nil {
			return err
		}
		return trimPlans(tx, p.Hash)
	})
}

// trimPlans drops the oldest plans over the number kept.
func trimPlans(tx *bolt.Tx, inForce string) error {
	b, err := at(tx, plansBucket)
	if err != nil {
		return err
	}
	var all []Plan
	err = b.ForEach(func(k, stored []byte) error {
		var p Plan
		if data, err := unsealed(plansBucket, k, stored); err == nil && decode(plansBucket, k, data, &p) == nil && p.Hash != inForce {
			all = append(all, p)
		}
		return nil
	})
	if err != nil || len(all) <= plansKept {
		return err
	}
	slices.SortFunc(all, func(a, b Plan) int { return a.Accepted.Compare(b.Accepted) })
	for _, p := range all[:len(all)-plansKept] {
		if err := b.Delete([]byte(p.Hash)); err != nil {
			return err
		}
	}
	return nil
}

// Plans gives the plans kept, newest first.
func (s *Store) Plans() ([]Plan, error) {
	all, err := each[Plan](s, plansBucket)
	if err != nil {
		return nil, err
	}
	hash, err := s.inForce()
	if err != nil && !errors.Is(err, ErrNotFound) {
		return nil, err
	}
	for i := range all {
		all[i].InForce = all[i].Hash == hash
	}
	slices.SortStableFunc(all, func(a, b Plan) int { return b.Accepted.Compare(a.Accepted) })
	return all, nil
}

// Plan gives one plan by its hash, or ErrNotFound.
func (s *Store) Plan(hash string) (Plan, error) {
	var p Plan
	err := s.view("read plan "+hash, func(tx *bolt.Tx) error { return getJSON(tx, plansBucket, hash, &p) })
	return p, err
}

// PlanInForce gives the plan put in force last, or ErrNotFound.
func (s *Store) PlanInForce() (Plan, error) {
	hash, err := s.inForce()
	if err != nil {
		return Plan{}, err
	}
	p, err := s.Plan(hash)
	p.InForce = true
	return p, err
}

func (s *Store) inForce() (hash string, err error) {
	err = s.view("read the plan in force", func(tx *bolt.Tx) error {
		data, err := get(tx, metaBucket, keyInForce)
		hash = string(data)
		return err
	})
	return hash, err
}

// Used reports whether a room has ever run on this store: then a ledger that is
// missing was lost, and it is not a first start.
func (s *Store) Used() (used bool, err error) {
	err = s.view("look for use", func(tx *bolt.Tx) error {
		for _, name := range []bucketName{journalBucket, mirrorBucket} {
			b, err := at(tx, name)
			if err != nil {
				return err
			}
			k, _ := b.Cursor().First()
			used = used || k != nil
		}
		return nil
	})
	return used, err
}

// Install gives the id that was drawn when the store was created.
func (s *Store) Install() (id string, err error) {
	err = s.view("read the install id", func(tx *bolt.Tx) error {
		data, err := get(tx, metaBucket, keyInstall)
		id = string(data)
		return err
	})
	return id, err
}

// WriteTo writes the whole store as one consistent file, while it is in use.
func (s *Store) WriteTo(w io.Writer) (n int64, err error) {
	err = s.view("copy the store", func(tx *bolt.Tx) (err error) {
		n, err = tx.WriteTo(w)
		return err
	})
	return n, err
}
