package ledger

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"strings"

	"rillgate/zones"
)

// found is the state of a ledger's directory.
type found struct {
	Recovered
	from       *segment // whose memory it is; nil = none
	other      *segment // the one to be begun next
	generation uint64   // highest seen
	marked     bool
}

// look reads both segments and decides what the room goes on from.
func look(d Disk, o Options) (*found, error) {
	a, err := readSegment(d, segmentA)
	if err != nil {
		return nil, err
	}
	b, err := readSegment(d, segmentB)
	if err != nil {
		return nil, err
	}
	marked, err := exists(d, marker)
	if err != nil {
		return nil, err
	}
	f := &found{other: a, generation: max(a.highest, b.highest), marked: marked}
	f.choose(a, b)
	if f.from == nil {
		f.nothing(a, b, o)
	} else {
		f.judge(o.Mirror)
	}
	f.salvage(a, b, o.Mirror)
	return f, nil
}

func exists(d Disk, name string) (bool, error) {
	_, err := d.Read(name)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, fmt.Errorf("read ledger: %w", err)
	}
	return true, nil
}

// choose takes the newest segment whose snapshot can be read.
func (f *found) choose(a, b *segment) {
	for _, pair := range [][2]*segment{{a, b}, {b, a}} {
		s := pair[0]
		if s.memory != nil && (f.from == nil || s.generation > f.from.generation) {
			f.from, f.other, f.Memory = s, pair[1], s.memory
		}
	}
}

// counted is what a loss comes to, and what a person has to look after.
const counted = ": every budget counts as spent until it is reset; a stop, latch or hold that was recorded there may be forgotten"

// nothing decides between a first start and a loss.
func (f *found) nothing(a, b *segment, o Options) {
	if !a.present && !b.present && !f.marked && !o.StoreExisted && o.Mirror == nil {
		f.Fresh, f.Memory = true, zones.NewMemory()
		return
	}
	f.Lost, f.Memory = true, zones.LostMemory(0)
	f.Detail = "no part of the ledger can be read" + counted
}

// judge looks for durable records that are missing behind the good part.
func (f *found) judge(mirror *zones.Memory) {
	var losses []string
	note := func(lost bool, text string) {
		if lost {
			losses = append(losses, text)
		}
	}
	s, end := f.from, f.from.memory.Seq
	note(s.lostDurable(), fmt.Sprintf("%s is damaged after record %d", s.name, end))
	note(s.sealed, fmt.Sprintf("what followed %s cannot be read, after record %d", s.name, end))
	note(!s.sealed && f.other.generation > s.generation && f.other.lostAfter(end),
		fmt.Sprintf("%s is damaged at its head, after record %d", f.other.name, end))
	note(mirror != nil && mirror.Seq > end, fmt.Sprintf("the ledger ends at record %d, the store knows of a later one", end))
	if len(losses) > 0 {
		f.Damaged = true
		f.Detail = strings.Join(losses, "; ") + counted
		return
	}
	f.TailDropped = len(s.later)
	if s.torn && (len(s.later) == 0 || s.later[0].start != s.end) {
		f.TailDropped++
	}
	if f.TailDropped > 0 {
		f.Detail = fmt.Sprintf("dropped an unfinished tail after record %d; nothing durable is missing", end)
	}
}

// lostAfter reports whether a segment without a snapshot holds durable records
// past seq: those were never only in a torn beginning.
func (s *segment) lostAfter(seq uint64) bool {
	for _, f := range s.later {
		if f.kind != snapshotFrame && f.seq > seq {
			return true
		}
	}
	return false
}

// salvage keeps, after a loss, whatever can only close: the highest epoch, age
// and numbers, and latches that were set behind the damage.
func (f *found) salvage(a, b *segment, mirror *zones.Memory) {
	if !f.Lost && !f.Damaged {
		return
	}
	good := f.Memory.Seq
	if mirror != nil && mirror.Seq >= good {
		older := f.Memory
		f.Memory, good = mirror.Clone(), mirror.Seq
		raise(f.Memory, older)
	}
	for _, s := range []*segment{a, b} {
		if s.memory != nil {
			raise(f.Memory, s.memory)
		}
		for _, fr := range s.later {
			salvageFrame(f.Memory, fr, good)
		}
	}
	CountSpent(f.Memory)
}

// CountSpent makes every budget count as spent, until a person resets it.
func CountSpent(m *zones.Memory) {
	m.Spent, m.Clean = true, false
	for _, out := range m.Outputs { // order: each for itself
		out.Spent = true
	}
}

// salvageFrame takes from a frame past seq what can only close.
func salvageFrame(m *zones.Memory, fr frame, seq uint64) {
	if fr.kind == snapshotFrame {
		var older zones.Memory
		if json.Unmarshal(fr.payload, &older) == nil {
			raise(m, &older)
		}
	}
	if fr.kind != recordFrame || fr.seq <= seq {
		return
	}
	if rec, err := recordOf(fr); err == nil {
		salvageRecord(m, rec)
	}
}

func salvageRecord(m *zones.Memory, rec *zones.Record) {
	before := *m
	if rec.Kind == zones.RecLatch {
		m.Seq = rec.Seq - 1 // else it counts as folded already
		_ = apply(m, rec)   // a latch that cannot be folded is one more reason to count as spent
	}
	raise(m, &before)
	raise(m, &zones.Memory{Seq: rec.Seq, Epoch: rec.Epoch, Age: rec.Age})
}

// raise lifts the numbers that must never fall.
func raise(m, by *zones.Memory) {
	m.Seq = max(m.Seq, by.Seq)
	m.Epoch = max(m.Epoch, by.Epoch)
	m.Age = max(m.Age, by.Age)
	m.Lease = max(m.Lease, by.Lease)
}
