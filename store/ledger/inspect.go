package ledger

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"slices"

	"rillgate/zones"
)

// Inspect tells what the ledger in dir holds and touches nothing. While a daemon
// writes, the last record may be missing.
func Inspect(dir string) (Recovered, error) {
	f, err := look(newDirectory(dir), Options{})
	if err != nil {
		return Recovered{}, fmt.Errorf("inspect ledger %s: %w", dir, err)
	}
	return f.Recovered, nil
}

// Adopt goes on from the memory of a backup, which is old: every budget counts as
// spent, latches that stand here are kept beside its own, and no number falls. It
// is durable when it returns nil.
func (l *Ledger) Adopt(m *zones.Memory) error {
	return l.guarded("adopt a memory", func() error {
		if err := l.flush(); err != nil {
			return err
		}
		own := l.memory
		l.memory = m.Clone()
		raise(l.memory, own)
		keepLatches(l.memory, own)
		CountSpent(l.memory)
		return l.begin(otherName(l.name), false)
	})
}

// keepLatches adds the latches of from that m does not have.
func keepLatches(m, from *zones.Memory) {
	m.Latches = union(m.Latches, from.Latches)
	for _, key := range slices.Sorted(maps.Keys(from.Outputs)) {
		out := from.Outputs[key]
		if len(out.Latches) == 0 {
			continue
		}
		if m.Outputs == nil {
			m.Outputs = map[string]*zones.OutputMemory{}
		}
		if m.Outputs[key] == nil {
			m.Outputs[key] = &zones.OutputMemory{}
		}
		m.Outputs[key].Latches = union(m.Outputs[key].Latches, out.Latches)
	}
}

func union(a, b []zones.LatchMemory) []zones.LatchMemory {
	for _, l := range b {
		if !slices.ContainsFunc(a, func(o zones.LatchMemory) bool { return o.Code == l.Code }) {
			a = append(a, l)
		}
	}
	return a
}

// Records gives the records that the ledger in dir holds beside its snapshots, in
// order, and touches nothing: those of the segment being written and of the one
// before. A record that cannot be read is left out.
func Records(dir string) ([]*zones.Record, error) {
	d := newDirectory(dir)
	bySeq := map[uint64]*zones.Record{}
	newest := map[uint64]uint64{} // generation by seq
	for _, name := range []string{segmentA, segmentB} {
		data, err := d.Read(name)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("read the records in %s: %w", dir, err)
		}
		for _, f := range framesIn(data) {
			rec, err := recordOf(f)
			if f.kind != recordFrame || err != nil || f.generation < newest[f.seq] {
				continue
			}
			bySeq[f.seq], newest[f.seq] = rec, f.generation
		}
	}
	all := make([]*zones.Record, 0, len(bySeq))
	for _, seq := range slices.Sorted(maps.Keys(bySeq)) {
		all = append(all, bySeq[seq])
	}
	return all, nil
}
