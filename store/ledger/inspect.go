package ledger

import (
	"fmt"
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
