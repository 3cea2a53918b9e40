package response

import "fmt"

// Edges of what is seen without a shot.
const (
	five       = 5 * minute
	fivesKept  = 13
	leakAfter  = 40 * minute // since the zone's last water
	leakPoints = milli(1200) // that most probes rise by
	slipPoints = milli(4000) // that a probe falls by, beyond its neighbours
	slipBack   = milli(2500) // how near to its old place by them it is back again
	stepPoints = milli(1500) // that a probe steps by when it is put elsewhere
	lowKept    = 6 * hour
)

// slip is a probe that fell out: where it stood over its neighbours.
type slip struct {
	At  int64 `json:"at"` // 0 = none
	Gap milli `json:"gap"`
}

// look folds the last five minutes of each probe in, and asks for leaks and slips.
func (m *Model) look(b *bed) {
	if m.now < b.five+five {
		return
	}
	b.five = m.now
	now := b.levels(m.now-five, m.now+1)
	falls := b.falls(now)
	b.steps(now)
	for i, t := range b.tracks {
		m.seekSlip(b, i, now, falls)
		t.fold(dot{m.now, now[i]})
	}
	m.seekLeak(b)
}

// fold adds five minutes to the last hour, and to the lowest since water came.
func (t *track) fold(d dot) {
	if d.level == unknown {
		return
	}
	t.fives = keep(t.fives, d, fivesKept)
	if t.low.at == 0 || d.level < t.low.level || t.low.at < d.at-lowKept {
		t.low = d
	}
}

// ref gives the lowest of what a probe showed from 15 min to an hour ago.
func (t *track) ref(now int64) milli {
	low := unknown
	for _, d := range t.fives {
		if d.at > now-15*minute || d.at < now-hour-five {
			continue
		}
		if low == unknown || d.level < low {
			low = d.level
		}
	}
	return low
}

// falls gives how far each probe is under its own reference.
func (b *bed) falls(now []milli) []milli {
	v := make([]milli, len(now))
	for i, t := range b.tracks {
		v[i] = minus(t.ref(b.five), now[i])
	}
	return v
}

// others gives the median of all but one, unknown without any.
func others(v []milli, i int) milli {
	rest := make([]milli, 0, len(v))
	rest = append(rest, v[:i]...)
	return middleOf(append(rest, v[i+1:]...))
}

// steps notes the probes that moved at once and alone, which neither water nor uptake
// does.
func (b *bed) steps(now []milli) {
	moved := make([]milli, len(now))
	for i, t := range b.tracks {
		moved[i] = unknown
		if n := len(t.fives); n > 0 && t.fives[n-1].at > b.five-3*five {
			moved[i] = minus(now[i], t.fives[n-1].level)
		}
	}
	for i, t := range b.tracks {
		if o := others(moved, i); moved[i] != unknown && o != unknown && apart(moved[i], o) > stepPoints {
			t.jump = b.five
		}
	}
}

func apart(a, b milli) milli {
	if a > b {
		return a - b
	}
	return b - a
}

// seekSlip finds a probe that fell by itself, and one that is back in its place.
func (m *Model) seekSlip(b *bed, i int, now, falls []milli) {
	t := b.tracks[i]
	near := others(now, i)
	if t.slip.At != 0 {
		if gap := minus(now[i], near); gap != unknown && t.slip.Gap != unknown && apart(gap, t.slip.Gap) <= slipBack {
			t.slip = slip{}
			t.jump = m.now
			m.clear(b, ProbeSlipped, t.probe)
		}
		return
	}
	fell := falls[i]
	if fell == unknown {
		return
	}
	if o := others(falls, i); o != unknown && o > 0 {
		fell -= o
	}
	last := unknown
	if n := len(t.fives); n > 0 {
		last = t.fives[n-1].level
	}
	if ref := t.ref(m.now); fell < slipPoints || last == unknown || last > ref-slipPoints {
		return // not yet for two looks
	}
	t.slip = slip{At: m.now, Gap: minus(t.ref(m.now), near)}
	beside := "there is no other probe to compare it with"
	if near != unknown {
		beside = fmt.Sprintf("its neighbours stay at %.1f %%", near.float())
	}
	m.raise(b, Finding{Code: ProbeSlipped, Probe: t.probe, Since: age(m.now - 2*five), Because: fmt.Sprintf(
		"probe %s of %s fell from %.1f to %.1f %% at once; %s: it may have slipped out", t.probe, b.zone.title(), t.ref(m.now).float(), now[i].float(), beside)})
}

func (b *bed) forgetLows() {
	for _, t := range b.tracks {
		t.low = dot{}
	}
}

// seekLeak finds a zone most of whose probes rise with nothing watered.
func (m *Model) seekLeak(b *bed) {
	if b.busy() || m.now < b.last+leakAfter {
		b.forgetLows()
		return
	}
	heard, rose := 0, 0
	from, most := m.now, []milli(nil)
	for _, t := range b.tracks {
		if n := len(t.fives); n == 0 || t.fives[n-1].at < m.now || t.low.at == 0 || t.slip.At != 0 {
			continue
		}
		heard++
		if up := t.fives[len(t.fives)-1].level - t.low.level; up >= leakPoints && t.jump <= t.low.at {
			rose++
			from, most = min(from, t.low.at), append(most, up)
		}
	}
	if rose == 0 || 2*rose <= heard || m.maybeOthers(b, from) {
		return
	}
	m.raise(b, Finding{Code: LeakSuspected, Since: age(from), Because: fmt.Sprintf(
		"%d of %d probes of %s rose by %.1f points in %d min with nothing watered for %s: a leak, or a valve that does not close",
		rose, heard, b.zone.title(), middle(most).float(), (m.now-from)/minute, b.dryFor(m.now))})
}

func (b *bed) dryFor(now int64) string {
	if b.last == never {
		return "as long as is known"
	}
	return fmt.Sprintf("%d min", (now-b.last)/minute)
}

// maybeOthers reports whether another zone's water may be the cause, which its shot's
// judgement will tell.
func (m *Model) maybeOthers(b *bed, from int64) bool {
	for _, o := range m.beds {
		if o != b && o.busy() && o.episode.open >= from-10*minute {
			return true
		}
	}
	return false
}

// overshoot finds a shot that raised its zone far more than it can have.
func (m *Model) overshoot(b *bed, s *shot) {
	if s.Mark != high {
		return
	}
	rises := s.rises(b.learned().rate(s.Lit))
	m.raise(b, Finding{Code: LeakSuspected, Since: age(s.Open), Because: fmt.Sprintf(
		"a shot worth %.1f points raised %s by %.1f: its valve may not close, or more water comes than is reckoned",
		s.Worth.float(), b.zone.title(), middleOf(rises).float())})
}

// endLeak ends the finding of a leak when the zone dries as it used to.
func (m *Model) endLeak(b *bed, k *block) {
	want := b.learned().rate(m.lit)
	if b.has(LeakSuspected, "") && want > 0 && middleOf(k.Falls).float() > want/2 {
		m.clear(b, LeakSuspected, "")
	}
}
