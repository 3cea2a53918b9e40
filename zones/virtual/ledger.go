package virtual

import (
	"encoding/json"
	"fmt"

	"rillgate/zones"
)

// LedgerMode says how the virtual ledger takes records.
type LedgerMode uint8

// The modes: answered within the instant; kept without an answer, lost in a
// crash; refused.
const (
	LedgerAnswers LedgerMode = iota
	LedgerHolds
	LedgerFails
)

// ledger folds records into a memory as a durable one would: in order, and only
// what was answered outlives a crash.
type ledger struct {
	mode   LedgerMode
	memory *zones.Memory
	held   []*zones.Record
	due    uint64 // highest Seq folded and not answered yet
	failed uint64
}

func (l *ledger) append(rec *zones.Record) {
	switch l.mode {
	case LedgerAnswers:
		l.memory.Apply(rec)
		l.due = rec.Seq
	case LedgerHolds:
		l.held = append(l.held, cloneRecord(rec))
	case LedgerFails:
		l.failed = rec.Seq
	}
}

// answer gives the event that answers what came in since the last one; nil = none.
func (l *ledger) answer() zones.Event {
	switch {
	case l.failed != 0:
		seq := l.failed
		l.failed = 0
		return &zones.RecordFailed{Seq: seq, Err: "write ledger: no space left on device"}
	case l.due != 0:
		seq := l.due
		l.due = 0
		return &zones.Recorded{Seq: seq}
	}
	return nil
}

// release folds what was held back.
func (l *ledger) release() {
	for _, rec := range l.held {
		l.memory.Apply(rec)
		l.due = rec.Seq
	}
	l.held = nil
}

// crash loses what was not answered.
func (l *ledger) crash() { l.held, l.due, l.failed = nil, 0, 0 }

// copy gives a memory that shares nothing with the ledger's own, by the same form
// in which it is written down.
func (l *ledger) copy() *zones.Memory {
	var m zones.Memory
	mustRoundTrip(l.memory, &m)
	return &m
}

func cloneRecord(rec *zones.Record) *zones.Record {
	var r zones.Record
	mustRoundTrip(rec, &r)
	return &r
}

// mustRoundTrip copies through JSON; that these types have a JSON form is a fact
// of the program, not of its input.
func mustRoundTrip(from, to any) {
	b, err := json.Marshal(from)
	if err == nil {
		err = json.Unmarshal(b, to)
	}
	if err != nil {
		panic(fmt.Sprintf("copy %T: %v", from, err))
	}
}
