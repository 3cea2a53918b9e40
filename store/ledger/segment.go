package ledger

import (
	"encoding/json"
	"fmt"
)

// write puts bytes in place and syncs them.
func (l *Ledger) write(b []byte, at int64) error { return l.writeTo(l.file, b, at) }

func (l *Ledger) writeTo(f File, b []byte, at int64) error {
	if _, err := f.WriteAt(b, at); err != nil {
		return fmt.Errorf("write: %w", err)
	}
	l.stats.Bytes += int64(len(b))
	if err := f.Sync(); err != nil {
		return fmt.Errorf("sync: %w", err)
	}
	l.stats.Syncs++
	return nil
}

// beginFor begins the other segment with room for a batch of need bytes.
func (l *Ledger) beginFor(need int) error {
	was := l.size
	l.size = max(l.size, padded(2*need))
	err := l.begin(otherName(l.name), false)
	l.size = was
	return err
}

// begin starts a segment with a snapshot, syncs it, then seals the one that was
// written so far (unless there is none, or it is sealed).
func (l *Ledger) begin(name string, sealed bool) error {
	payload, err := json.Marshal(l.memory)
	if err != nil {
		return fmt.Errorf("encode the memory: %w", err)
	}
	size := max(l.size, padded(2*(headerSize+frameSize(len(payload)))))
	if l.sizes[name] >= size {
		size = l.sizes[name]
	}
	head := appendHeader(nil, header{version: formatVersion, size: uint32(size), generation: l.generation + 1})
	head = appendFrame(head, frame{generation: l.generation + 1, seq: l.memory.Seq,
		durable: l.memory.Seq, kind: snapshotFrame, payload: payload})
	next, err := l.place(name, head, size)
	if err != nil {
		return err
	}
	if err := l.seal(sealed); err != nil {
		next.Close()
		return err
	}
	l.generation++
	l.name, l.file, l.fileSize, l.end = name, next, size, len(head)
	l.stats.Segments++
	return nil
}

// place writes a segment's beginning in place, or a whole new file where there is
// none of that size.
func (l *Ledger) place(name string, head []byte, size int) (File, error) {
	fresh := l.sizes[name] < size
	if fresh {
		whole := make([]byte, size)
		copy(whole, head)
		if err := l.disk.Create(name, whole); err != nil {
			return nil, err
		}
		l.sizes[name] = size
	}
	f, err := l.disk.Open(name)
	if err != nil || fresh {
		return f, err
	}
	if err := l.writeTo(f, head, 0); err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}

// seal ends the segment written so far.
func (l *Ledger) seal(sealed bool) error {
	if !sealed && l.end+sealSize <= l.fileSize {
		f := frame{generation: l.generation, seq: l.memory.Seq, durable: l.memory.Seq, kind: sealFrame}
		if err := l.write(appendFrame(nil, f), int64(l.end)); err != nil {
			return err
		}
	}
	return l.closeFile()
}
