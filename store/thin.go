package store

import (
	"encoding/json"
	"slices"
	"time"

	bolt "go.etcd.io/bbolt"
)

// MinutesKept is how long history keeps every minute; then one number for five.
const MinutesKept = 7 * 24 * time.Hour

// Thinned counts what Thin did.
type Thinned struct {
	Days    int // of history brought to five minutes
	Dropped int // days of history
	Journal int // entries
}

// Thin brings history older than MinutesKept to medians of five minutes, and drops
// history and journal older than keep. It takes one transaction a day of history;
// call it once a day.
func (s *Store) Thin(now time.Time, keep time.Duration) (Thinned, error) {
	var done Thinned
	days, err := s.days()
	if err != nil {
		return done, err
	}
	oldest := now.Add(-keep).UTC().Format(dayLayout)
	thin := now.Add(-MinutesKept).UTC().Format(dayLayout)
	for _, d := range days {
		switch {
		case d.name < oldest:
			err = s.update("drop history of "+d.name, func(tx *bolt.Tx) error { return dropDay(tx, d.name) })
			done.Dropped++
		case d.name < thin && !d.thinned:
			err = s.update("thin history of "+d.name, func(tx *bolt.Tx) error { return s.thinDay(tx, d.name) })
			done.Days++
		}
		if err != nil {
			return done, err
		}
	}
	done.Journal, err = s.dropJournal(now.Add(-keep))
	return done, err
}

type historyDay struct {
	name    string
	thinned bool
}

func (s *Store) days() ([]historyDay, error) {
	var all []historyDay
	err := s.view("list history", func(tx *bolt.Tx) error {
		h, err := at(tx, historyBucket)
		if err != nil {
			return err
		}
		return h.ForEachBucket(func(k []byte) error {
			all = append(all, historyDay{string(k), h.Bucket(k).Get([]byte(keyThinned)) != nil})
			return nil
		})
	})
	return all, err
}

func dropDay(tx *bolt.Tx, name string) error {
	h, err := at(tx, historyBucket)
	if err != nil {
		return err
	}
	return h.DeleteBucket([]byte(name))
}

// thinDay rewrites one day: a block an hour, one number for five minutes.
func (s *Store) thinDay(tx *bolt.Tx, name string) error {
	date, err := time.Parse(dayLayout, name)
	if err != nil {
		return dropDay(tx, name)
	}
	first, _ := minuteOf(date)
	hours := map[int64]*block{}
	err = s.blocks(tx, first, first+24*hourMinutes, nil, func(start int64, b *block) {
		hour := start - start%hourMinutes
		if hours[hour] == nil {
			hours[hour] = &block{step: thinStep, slots: hourMinutes / thinStep}
		}
		for i := range b.rows {
			if b.rows[i].mask != 0 {
				hours[hour].row(b.rows[i].seriesKey).set(int(start-hour)/thinStep, b.rows[i].median())
			}
		}
	})
	if err != nil {
		return err
	}
	h, err := at(tx, historyBucket)
	if err != nil {
		return err
	}
	if err := h.DeleteBucket([]byte(name)); err != nil {
		return err
	}
	day, err := h.CreateBucket([]byte(name))
	if err != nil {
		return err
	}
	for hour, b := range hours { // order: each under its own key
		key := minuteKey(hour)
		if err := day.Put(key, sealed(historyBucket, key, b.pack())); err != nil {
			return err
		}
	}
	return day.Put([]byte(keyThinned), sealed(historyBucket, []byte(keyThinned), []byte("1")))
}

// median gives the middle of the values that are there, the mean of the two
// middle ones of an even number.
func (r *row) median() int32 {
	var vs []int32
	for slot, v := range r.values {
		if r.mask&(1<<slot) != 0 {
			vs = append(vs, v)
		}
	}
	slices.Sort(vs)
	n := len(vs)
	return int32((int64(vs[(n-1)/2]) + int64(vs[n/2])) / 2)
}

// trimmedAtOnce bounds the journal entries that one transaction deletes.
const trimmedAtOnce = 1000

// dropJournal deletes entries older than a time, then the oldest over the cap.
func (s *Store) dropJournal(before time.Time) (int, error) {
	old, err := s.trimWhile(func(stored []byte) bool { return olderThan(stored, before) })
	if err != nil {
		return old, err
	}
	extra := -JournalCap
	err = s.journal(func(c *bolt.Cursor) {
		for k, _ := c.First(); k != nil; k, _ = c.Next() {
			extra++
		}
	})
	if err != nil {
		return old, err
	}
	over, err := s.trimWhile(func([]byte) bool {
		extra--
		return extra >= 0
	})
	return old + over, err
}

func (s *Store) trimWhile(old func(stored []byte) bool) (total int, err error) {
	for {
		n := 0
		err := s.update("drop old journal", func(tx *bolt.Tx) error {
			b, err := at(tx, journalBucket)
			if err != nil {
				return err
			}
			n, err = trimJournal(b, trimmedAtOnce, old)
			return err
		})
		total += n
		if err != nil || n < trimmedAtOnce {
			return total, err
		}
	}
}

// olderThan reports whether a stored entry is older; one that cannot be read is.
func olderThan(stored []byte, before time.Time) bool {
	var e JournalEntry
	if len(stored) < 4 || json.Unmarshal(stored[4:], &e) != nil {
		return true
	}
	return e.At.Before(before)
}
