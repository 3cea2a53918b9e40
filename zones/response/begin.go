package response

import "slices"

// Begin says that another probe stands for a name from now on: what the one before showed
// is not held against it. What the zone has taught by its other probes stays. It reports
// whether a zone has such a probe.
func (m *Model) Begin(probe string) bool {
	for _, b := range m.beds {
		if i := slices.Index(b.zone.Probes, probe); i >= 0 {
			b.begin(i, m)
			return true
		}
	}
	return false
}

func (b *bed) begin(i int, m *Model) {
	b.endStretch(m.now, m)
	b.tracks[i] = &track{probe: b.zone.Probes[i], dots: make([]dot, 0, 512), jump: m.now}
	for _, blocks := range [][]block{b.day, b.night} {
		for k := range blocks {
			silence(blocks[k].Falls, i)
		}
	}
	for k := range b.shots {
		s := &b.shots[k]
		for _, v := range [][]milli{s.Before, s.Peak, s.After, s.Late, s.Ratio} {
			silence(v, i)
		}
		if i < len(s.Halfway) {
			s.Halfway[i] = -1
		}
	}
	n := len(b.found)
	b.found = slices.DeleteFunc(b.found, func(f Finding) bool { return f.Probe == b.zone.Probes[i] })
	m.changed = m.changed || len(b.found) != n
	b.book = nil
}

func silence(v []milli, i int) {
	if i < len(v) {
		v[i] = unknown
	}
}
