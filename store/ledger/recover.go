package ledger

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"

	"rillgate/zones"
)

const (
	segmentA = "ledger-a"
	segmentB = "ledger-b"
	marker   = "ledger.marker"
)

// Recovered tells what was found. Memory is what the room goes on from.
type Recovered struct {
	Memory *zones.Memory
	// Fresh: nothing was ever here; the budgets are full.
	Fresh bool
	// Lost: there was a ledger and nothing of it can be read.
	Lost bool
	// Damaged: a durable part is missing; what lies before it was kept.
	// Lost or Damaged sets Memory.Spent.
	Damaged bool
	// Detail says in a sentence what is lost, damaged or dropped; "" = nothing.
	Detail string
	// TailDropped counts frames that a power cut left unfinished; no harm.
	TailDropped int
}

// segment is one segment as read.
type segment struct {
	name       string
	size       int
	present    bool
	generation uint64 // 0 = unknown
	highest    uint64 // generation of anything in it, also of what an earlier use left
	memory     *zones.Memory
	end        int     // where the good part ends
	sealed     bool    // a successor was durable
	later      []frame // whole frames behind a broken place
	torn       bool    // a frame of this generation begins at end and is not whole
	cut        bool    // the file is shorter than its header says
}

// readSegment reads one segment and folds its good part. The error is ErrNewer,
// or that of a disk that cannot be read.
func readSegment(d Disk, name string) (*segment, error) {
	data, err := d.Read(name)
	if errors.Is(err, fs.ErrNotExist) {
		return &segment{name: name}, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read ledger: %w", err)
	}
	return parseSegment(name, data)
}

func parseSegment(name string, data []byte) (*segment, error) {
	s := &segment{name: name, size: len(data), present: true}
	frames := framesIn(data)
	head, ok := headerOf(data)
	if ok && head.version > formatVersion {
		return nil, fmt.Errorf("read %s, format %d: %w", name, head.version, ErrNewer)
	}
	if ok {
		s.generation, s.cut = head.generation, len(data) < int(head.size)
	} else { // the frames carry all that the header says
		s.generation = newestGeneration(frames)
	}
	s.highest = max(s.generation, newestGeneration(frames))
	s.fold(data, ofGeneration(frames, s.generation))
	return s, nil
}

func ofGeneration(frames []frame, g uint64) []frame {
	var kept []frame
	for _, f := range frames {
		if f.generation == g {
			kept = append(kept, f)
		}
	}
	return kept
}

func newestGeneration(frames []frame) uint64 {
	var newest uint64
	for _, f := range frames {
		newest = max(newest, f.generation)
	}
	return newest
}

// fold takes frames as long as each begins where the last one ended and carries
// the next seq.
func (s *segment) fold(data []byte, frames []frame) {
	s.end = headerSize
	for i, f := range frames {
		if f.start != s.end || !s.take(f) {
			s.later = frames[i:]
			break
		}
		s.end = f.end
	}
	s.torn = !s.sealed && tornAt(data, s.end, s.generation)
}

// take applies one frame; false = it does not belong there.
func (s *segment) take(f frame) bool {
	switch {
	case s.sealed:
		return false
	case s.memory == nil:
		return f.kind == snapshotFrame && s.begin(f)
	case f.kind == sealFrame:
		s.sealed = f.seq == s.memory.Seq
		return s.sealed
	case f.kind != recordFrame || f.seq != s.memory.Seq+1:
		return false
	}
	rec, err := recordOf(f)
	return err == nil && apply(s.memory, rec) == nil
}

func (s *segment) begin(f frame) bool {
	m := &zones.Memory{}
	if json.Unmarshal(f.payload, m) != nil || m.Seq != f.seq {
		return false
	}
	s.memory = m
	return true
}

func recordOf(f frame) (*zones.Record, error) {
	rec := &zones.Record{}
	if err := json.Unmarshal(f.payload, rec); err != nil {
		return nil, err
	}
	if rec.Seq != f.seq {
		return nil, fmt.Errorf("record %d in frame %d", rec.Seq, f.seq)
	}
	return rec, nil
}

// apply folds a record; seq follows the ledger whatever the record is about. A
// record that cannot be folded is as good as damaged.
func apply(m *zones.Memory, rec *zones.Record) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("fold record %d: %v", rec.Seq, p)
		}
	}()
	m.Apply(rec)
	m.Seq = rec.Seq
	return nil
}

// tornAt reports whether a frame of the generation begins at an offset.
func tornAt(data []byte, at int, generation uint64) bool {
	if at+frameHead > len(data) || string(data[at:at+4]) != frameMagic {
		return false
	}
	head := appendFrame(nil, frame{generation: generation})
	return string(data[at+8:at+16]) == string(head[8:16])
}

// lostDurable reports whether a frame behind the good part was durable, or says
// that one before it was.
func (s *segment) lostDurable() bool {
	var good uint64
	if s.memory != nil {
		good = s.memory.Seq
	}
	for _, f := range s.later {
		if f.durable > good {
			return true
		}
	}
	return s.cut
}
