package ledger

import (
	"encoding/json"
	"fmt"

	"rillgate/zones"
)

// held is a record on its way to the disk. The copy was made from the payload: what
// is folded is what a recovery would fold, and shares nothing with the caller.
type held struct {
	payload []byte
	copy    *zones.Record
}

// heldMost bounds the lazy records that wait for another one.
const heldMost = 64

// Append makes records durable, in order and all with one sync. Records that are
// all lazy wait in memory for the next that is not. Their seq must follow each
// other. After any error, also of a record that cannot be written down, nothing
// more is durable and every later call gives ErrFailed.
func (l *Ledger) Append(recs ...*zones.Record) error {
	return l.guarded("append to ledger", func() error { return l.append(recs) })
}

// Flush makes the lazy records durable that wait.
func (l *Ledger) Flush() error { return l.guarded("flush ledger", l.flush) }

// guarded runs a step that writes; its first error is the last step of all.
func (l *Ledger) guarded(what string, step func() error) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.dead == nil {
		if err := step(); err != nil {
			l.dead = failed(err)
		}
	}
	if l.dead != nil {
		return fmt.Errorf("%s: %w", what, l.dead)
	}
	return nil
}

func (l *Ledger) append(recs []*zones.Record) error {
	lazy := true
	for _, rec := range recs {
		h, err := hold(rec, l.memory.Seq+uint64(len(l.held))+1)
		if err != nil {
			return err
		}
		l.held = append(l.held, h)
		lazy = lazy && rec.Lazy && !rec.Wait
	}
	if lazy && len(l.held) < heldMost {
		return nil
	}
	return l.flush()
}

func hold(rec *zones.Record, seq uint64) (held, error) {
	if rec.Seq != seq {
		return held{}, fmt.Errorf("record has seq %d, the ledger is at %d", rec.Seq, seq-1)
	}
	p, err := json.Marshal(rec)
	if err != nil {
		return held{}, fmt.Errorf("encode record %d: %w", seq, err)
	}
	copied, err := recordOf(frame{seq: seq, payload: p})
	if err != nil {
		return held{}, fmt.Errorf("encode record %d: %w", seq, err)
	}
	return held{p, copied}, nil
}

// flush writes what is held, with one sync.
func (l *Ledger) flush() error {
	if len(l.held) == 0 {
		return nil
	}
	need := sealSize
	for _, h := range l.held {
		need += frameSize(len(h.payload))
	}
	if l.end+need > l.fileSize {
		if err := l.beginFor(need); err != nil {
			return err
		}
	}
	l.buf = l.buf[:0]
	for _, h := range l.held {
		l.buf = appendFrame(l.buf, frame{
			generation: l.generation, seq: h.copy.Seq, durable: l.memory.Seq, kind: recordFrame, payload: h.payload})
	}
	if err := l.write(l.buf, int64(l.end)); err != nil {
		return err
	}
	l.end += len(l.buf)
	for _, h := range l.held {
		if err := apply(l.memory, h.copy); err != nil {
			return err
		}
	}
	l.stats.Records += len(l.held)
	l.held = l.held[:0]
	return nil
}
