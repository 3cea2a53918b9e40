package store

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"time"

	bolt "go.etcd.io/bbolt"

	"rillgate/zones"
)

// JournalCap is the greatest number of journal entries that Thin leaves.
const JournalCap = 50_000

// seqGap is left after an unclean end: numbers of entries that were told to others
// but never saved must not be given again.
const seqGap = 1000

// JournalEntry is one line of the journal. Seq rises, with gaps after crashes.
type JournalEntry struct {
	Seq uint64    `json:"seq"`
	At  time.Time `json:"at"`
	zones.Entry
}

// NextSeq gives the first free number of the journal as it was at opening.
func (s *Store) NextSeq() uint64 { return s.nextSeq }

// AppendJournal saves entries in one transaction. Their Seq must be above 0; one
// that is there already is replaced.
func (s *Store) AppendJournal(entries []JournalEntry) error {
	return s.Write(Batch{Journal: entries})
}

func seqKey(seq uint64) []byte { return binary.BigEndian.AppendUint64(nil, seq) }

func firstFreeSeq(tx *bolt.Tx, unclean bool) (uint64, error) {
	b, err := at(tx, journalBucket)
	if err != nil {
		return 0, err
	}
	var next uint64 = 1
	if k, _ := b.Cursor().Last(); len(k) == 8 {
		next = binary.BigEndian.Uint64(k) + 1
	}
	if unclean {
		next += seqGap
	}
	floor, err := get(tx, metaBucket, keySeqFloor)
	if err == nil && len(floor) == 8 {
		next = max(next, binary.BigEndian.Uint64(floor))
	}
	return next, nil
}

func putJournal(tx *bolt.Tx, entries []JournalEntry) error {
	b, err := at(tx, journalBucket)
	if err != nil {
		return err
	}
	for i := range entries {
		e := &entries[i]
		if e.Seq == 0 {
			return fmt.Errorf("journal entry %q has no number", e.Kind)
		}
		data, err := json.Marshal(e)
		if err != nil {
			return fmt.Errorf("encode journal entry %d: %w", e.Seq, err)
		}
		key := seqKey(e.Seq)
		if err := b.Put(key, sealed(journalBucket, key, data)); err != nil {
			return err
		}
	}
	return nil
}

// trimJournal deletes entries from the old end while old says so, most at once.
func trimJournal(b *bolt.Bucket, most int, old func(stored []byte) bool) (int, error) {
	c := b.Cursor()
	n := 0
	for k, v := c.First(); n < most && k != nil && old(v); k, v = c.First() {
		if err := b.Delete(k); err != nil {
			return n, err
		}
		n++
	}
	return n, nil
}

// Journal gives up to n entries from seq `from` on, oldest first; n <= 0 = all.
func (s *Store) Journal(from uint64, n int) ([]JournalEntry, error) {
	var out []JournalEntry
	err := s.journal(func(c *bolt.Cursor) {
		for k, v := c.Seek(seqKey(from)); k != nil && (n <= 0 || len(out) < n); k, v = c.Next() {
			var e JournalEntry
			if s.load(journalBucket, k, v, &e) {
				out = append(out, e)
			}
		}
	})
	return out, err
}

// JournalTail gives the last n entries that keep accepts (nil = all), oldest first.
func (s *Store) JournalTail(n int, keep func(*JournalEntry) bool) ([]JournalEntry, error) {
	return s.backwards(func(e *JournalEntry, have int) (take, more bool) {
		return keep == nil || keep(e), have < n
	})
}

// JournalSince gives the entries from a wall time on, oldest first.
func (s *Store) JournalSince(from time.Time) ([]JournalEntry, error) {
	slack := from.Add(-clockSlack)
	return s.backwards(func(e *JournalEntry, _ int) (take, more bool) {
		return !e.At.Before(from), e.At.After(slack)
	})
}

// clockSlack: the journal is in order of seq, and a wall clock that was set back
// may have put later times before earlier ones.
const clockSlack = 2 * time.Hour

// backwards reads from the newest entry on until pick wants no more.
func (s *Store) backwards(pick func(e *JournalEntry, have int) (take, more bool)) ([]JournalEntry, error) {
	var out []JournalEntry
	err := s.journal(func(c *bolt.Cursor) {
		for k, v := c.Last(); k != nil; k, v = c.Prev() {
			var e JournalEntry
			if !s.load(journalBucket, k, v, &e) {
				continue
			}
			take, more := pick(&e, len(out))
			if !more {
				return
			}
			if take {
				out = append(out, e)
			}
		}
	})
	for i, j := 0, len(out)-1; i < j; i, j = i+1, j-1 {
		out[i], out[j] = out[j], out[i]
	}
	return out, err
}

func (s *Store) journal(read func(*bolt.Cursor)) error {
	return s.view("read the journal", func(tx *bolt.Tx) error {
		b, err := at(tx, journalBucket)
		if err != nil {
			return err
		}
		read(b.Cursor())
		return nil
	})
}

// Run is one run as the journal tells it. Closed is zero while it is not known.
type Run struct {
	ID, Zone, Valve string
	Window          string // whose run it is; "" = not of a window, or not told
	Opened, Closed  time.Time
	Why             zones.Reason // why it opened
	End             zones.Reason // why it closed
	Seconds, Litres float64      // of water; litres of the whole zone
}

// Runs gives the runs that touch [from, to), in order of their opening.
func (s *Store) Runs(from, to time.Time) ([]Run, error) {
	lines, err := s.JournalSince(from.Add(-zones.MaxRunCeiling))
	if err != nil {
		return nil, err
	}
	return RunsOf(lines, from, to), nil
}

// RunsOf gives the runs that touch [from, to) by lines of the journal, in their order.
func RunsOf(lines []JournalEntry, from, to time.Time) []Run {
	var all []Run
	index := map[string]int{}
	for i := range lines {
		e := &lines[i]
		switch e.Kind {
		case "run-opened":
			index[e.Run] = len(all)
			all = append(all, Run{ID: e.Run, Zone: e.Zone, Valve: e.Valve, Window: e.Window, Opened: e.At, Why: e.Reason})
		case "run-closed":
			if j, ok := index[e.Run]; ok {
				r := &all[j]
				r.Closed, r.End, r.Seconds, r.Litres = e.At, e.Reason, e.Seconds, e.Litres
			}
		}
	}
	kept := all[:0]
	for _, r := range all {
		if r.Opened.Before(to) && (r.Closed.IsZero() || r.Closed.After(from)) {
			kept = append(kept, r)
		}
	}
	return kept
}
