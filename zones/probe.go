package zones

import "time"

const (
	fallLimit     = 10 * schedulePoint // a fall of more is no soil drying
	nearLevel     = 5 * schedulePoint
	fallSpan      = 10 * time.Minute
	gapSpan       = time.Hour
	offsetSpan    = 30 * time.Minute
	neverHeard    = time.Duration(-1 << 62)
	lostAfter     = time.Hour // quality "lost" instead of "stale"
	slots         = 62        // minutes of history a probe keeps
	schedulePoint = Level(1000)
)

// probe is one place and what was heard from it.
type probe struct {
	id, label string
	place     Place
	serial    string
	zone      *zone
	inFiles   bool

	heard   bool
	arrived time.Duration // age of the last reading that was taken
	extra   time.Duration // how late it was beyond the least delayed of 30 min
	stamp   time.Duration
	stamped bool
	live    int  // readings (with stamps: advances) since the start or a loss
	timed   bool // the last reading carried a stamp

	value           Level
	has             bool
	ec, temperature float64
	outside         bool // last value outside `plausible`
	excluded        bool
	level           Level // where it stood before it fell
	levelAt         time.Duration
	ignoredTo       time.Duration
	signal          signal
	salt            salts // of the last reading, once asked for
	noMoisture      bool  // nothing that moisture could be told from, so far
	spoke           bool  // a live message came, whatever was in it
	spokeAt         time.Duration
	anew            bool // it was exchanged, and not heard since

	lo, hi  Level
	stale   time.Duration
	history [slots]slot
	rose    Level // over the lowest of the last 10 min, at the last reading
	high    Level // highest since the last shot, less the first 15 min after it
	hasHigh bool
}

// slot sums up the plausible readings of one minute of age.
type slot struct {
	minute             int32 // 0 = empty; minutes count from 1
	min, max, last     Level
	minAt, maxAt, upAt time.Duration // upAt: age of last
	offset             time.Duration // least arrival - stamp
	hasOffset          bool
}

func minuteOf(t time.Duration) int32 { return int32(t/time.Minute) + 1 }

func (p *probe) slot(t time.Duration) *slot {
	m := minuteOf(t)
	s := &p.history[int(m)%slots]
	if s.minute != m {
		*s = slot{minute: m}
	}
	return s
}

// age gives how old the last reading is at t.
func (p *probe) age(t time.Duration) time.Duration { return t - p.arrived + p.extra }

// fresh reports whether the last reading is young enough at t.
func (p *probe) fresh(t time.Duration) bool { return p.heard && p.age(t) <= p.stale }

// isLive reports whether enough was heard to believe that the probe speaks now.
func (p *probe) isLive() bool { return p.live >= 2 }

// counts reports whether the reading is evidence at t.
func (p *probe) counts(t time.Duration) bool {
	return p.has && p.isLive() && !p.excluded && !p.outside && p.fresh(t) && t >= p.ignoredTo
}

// take folds one reading in. It reports whether it was taken (not a repeat) and
// whether the exclusion changed.
func (p *probe) take(rd *Reading, t time.Duration) (taken, changed bool) {
	if rd.Retained {
		return false, false // the broker's memory proves nothing
	}
	lost := p.heard && p.age(t) > p.stale
	if rd.HasTime && p.stamped && rd.At <= p.stamp {
		return false, false // a repeat: its stamp does not advance
	}
	p.ec, p.temperature, p.spoke, p.spokeAt = rd.EC, rd.Temperature, true, t
	if rd.Serial != "" {
		p.serial = rd.Serial
	}
	value, told := p.read(rd)
	if !told {
		p.noMoisture = !p.has
		return false, false
	}
	p.noMoisture = false
	if lost {
		p.live = 0
	}
	if !rd.HasTime || p.stamped {
		p.live++
	}
	p.timed = rd.HasTime
	p.extra = 0
	if rd.HasTime {
		p.stamp, p.stamped = rd.At, true
		p.extra = p.late(t, t-rd.At)
	}
	p.heard, p.has, p.anew, p.arrived, p.value = true, true, false, t, value
	return true, p.judge(t)
}

// late gives how much more than the least delayed reading of 30 min this one took.
func (p *probe) late(t, offset time.Duration) time.Duration {
	s := p.slot(t)
	if !s.hasOffset || offset < s.offset {
		s.offset, s.hasOffset = offset, true
	}
	least := s.offset
	now := minuteOf(t)
	for i := range p.history {
		h := &p.history[i]
		if h.hasOffset && h.minute > now-int32(offsetSpan/time.Minute) && h.offset < least {
			least = h.offset
		}
	}
	return offset - least
}

// judge asks whether the value is plausible and keeps it in the history if so.
func (p *probe) judge(t time.Duration) (changed bool) {
	v := p.value
	p.outside = v < p.lo || v > p.hi || p.signal.tooDry()
	if p.outside {
		return false
	}
	if p.excluded {
		if v < p.level-nearLevel && !p.returned(v, p.levelAt, t) {
			return false
		}
		p.excluded, changed = false, true
	} else if ref, at, fell := p.fell(v, t); fell {
		p.excluded, p.level, p.levelAt = true, ref, at
		return true
	}
	p.keep(v, t)
	return changed
}

func (p *probe) keep(v Level, t time.Duration) {
	s := p.slot(t)
	if s.upAt == 0 || v >= s.max {
		s.max, s.maxAt = v, t
	}
	if s.upAt == 0 || v <= s.min {
		s.min, s.minAt = v, t
	}
	s.last, s.upAt = v, t
}

// fell reports whether v is a fall that no substrate makes, and from where: more
// than 10 points under the highest of the last 10 min, or, after a gap of up to an
// hour, under the last one. A return to where it stood before a rise of the last
// hour is none.
func (p *probe) fell(v Level, t time.Duration) (ref Level, at time.Duration, fell bool) {
	at = neverHeard
	var last Level
	lastAt := neverHeard
	now := minuteOf(t)
	for i := range p.history {
		s := &p.history[i]
		if s.minute == 0 || s.upAt == 0 || s.minute < now-60 {
			continue
		}
		if s.upAt > lastAt && t-s.upAt <= gapSpan {
			last, lastAt = s.last, s.upAt
		}
		if t-s.maxAt <= fallSpan && (at == neverHeard || s.max > ref) {
			ref, at = s.max, s.maxAt
		} else if t-s.upAt <= fallSpan && (at == neverHeard || s.last > ref) {
			ref, at = s.last, s.upAt
		}
	}
	if at == neverHeard {
		if lastAt == neverHeard {
			return 0, 0, false
		}
		ref, at = last, lastAt
	}
	return ref, at, v < ref-fallLimit && !p.returned(v, at, t)
}

// returned reports whether v is within 5 points of where the probe stood before a
// rise of the last hour that ended at age at.
func (p *probe) returned(v Level, at, t time.Duration) bool {
	base, ok := p.before(at, t)
	return ok && v >= base-nearLevel && v <= base+nearLevel
}

// before gives the lowest plausible reading of the last hour that came before at.
func (p *probe) before(at, t time.Duration) (base Level, ok bool) {
	for i := range p.history {
		s := &p.history[i]
		if s.minute == 0 || s.upAt == 0 || t-s.minAt > gapSpan || s.minAt >= at {
			continue
		}
		if !ok || s.min < base {
			base, ok = s.min, true
		}
	}
	return base, ok
}

// rise gives how far the last value is over the lowest of the 10 min before it, of
// what was heard after age `from`.
func (p *probe) rise(t, from time.Duration) Level {
	low := p.value
	now := minuteOf(t)
	for i := int32(0); i <= 10; i++ {
		s := &p.history[int(now-i+slots)%slots]
		if s.minute == now-i && s.upAt != 0 && t-s.minAt <= fallSpan && s.minAt > from && s.min < low {
			low = s.min
		}
	}
	return p.value - low
}

// forget makes the probe start afresh, as after an acknowledgement.
func (p *probe) forget() {
	p.excluded, p.outside, p.level = false, false, 0
	p.stamped, p.signal.sent = false, false
	p.history = [slots]slot{}
	p.live = 0
	p.heard, p.has = false, false
}

// begin makes the probe another one, of which nothing was heard yet.
func (p *probe) begin() {
	p.forget()
	p.signal.permittivity, p.signal.flags = silentSignal().permittivity, 0
	p.anew, p.spoke, p.noMoisture, p.timed = true, false, false, false
	p.ignoredTo, p.rose, p.hasHigh = 0, 0, false
}

// staleAt gives the age after which the last reading no longer counts.
func (p *probe) staleAt() time.Duration { return p.arrived - p.extra + p.stale }

// quality says how good the probe is at t.
func (p *probe) quality(t time.Duration) ProbeQuality {
	switch {
	case t < p.ignoredTo:
		return ProbeIgnored
	case p.zone == nil:
		return ProbeNew
	case !p.heard:
		return ProbeLost
	case p.age(t) > p.stale+lostAfter:
		return ProbeLost
	case !p.fresh(t):
		return ProbeStale
	case p.excluded || p.outside:
		return ProbeImplausible
	case !p.isLive():
		return ProbeNew
	}
	return ProbeGood
}
