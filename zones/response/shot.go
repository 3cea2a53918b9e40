package response

// episode is water under way: one run, or a few that follow each other before the
// first has arrived.
type episode struct {
	open, closed int64
	wait         int64 // s from the close until it has arrived
	lit          bool
	runs         int
	seconds      float64 // of valve time
	litres       float64 // of the whole zone
}

const (
	longestRun = 2 * hour    // a run that lasts longer was ended unseen
	mostRuns   = 4           // an episode has at most so many
	lookBefore = 8 * minute  // the level before a shot is of this long
	lookAfter  = 9 * minute  // and the one after it, from `wait` on
	leastAfter = 3 * minute  // which the next opening may shorten to this
	lookLate   = 20 * minute // the level after drainage: up to drainedShot
)

// shot is one episode as the probes saw it. Levels are in the order of the zone's
// probes.
type shot struct {
	Open    int64   `json:"open"`
	Closed  int64   `json:"closed"`
	Lit     bool    `json:"lit"`
	Turned  bool    `json:"turned,omitempty"` // the lights changed meanwhile
	Dose    float64 `json:"dose"`             // L a plant; hours of valve time where litres are not known
	Runs    int     `json:"runs"`
	BaseAt  int64   `json:"base_at"` // middle of the time that Before is of
	AfterAt int64   `json:"after_at"`
	LateAt  int64   `json:"late_at,omitempty"` // 0 = the zone was not left alone for so long
	Before  []milli `json:"before"`
	Peak    []milli `json:"peak"`
	After   []milli `json:"after"`
	Late    []milli `json:"late,omitempty"`
	Halfway []int64 `json:"halfway,omitempty"` // s from the opening to half of the rise; -1 = not seen
	Mark    mark    `json:"mark,omitempty"`
	Ratio   []milli `json:"ratio,omitempty"` // each probe's rise as a share of what it had taught
	Worth   milli   `json:"worth,omitempty"` // the rise of the zone that was due; 0 = not known then
	Alone   bool    `json:"alone,omitempty"` // no other zone was watered near it
	Felt    []felt  `json:"felt,omitempty"`  // where else the shot was felt
}

// mark says how a shot compares with what the zone had taught.
type mark string

const (
	ordinary mark = ""
	low      mark = "low"    // far too little rise
	high     mark = "high"   // far too much
	beyond   mark = "beyond" // too little, but at a level at which no shot has shown in full yet
)

// felt is a shot of one zone felt in another: by these probes, in the order of that
// zone's.
type felt struct {
	Zone   string `json:"zone"`
	Probes []int  `json:"probes"`
	Most   bool   `json:"most"` // by most of them
	Rise   milli  `json:"rise"` // median of these
}

// judge ends what is due in a zone: an episode that has arrived, and a stretch.
func (m *Model) judge(b *bed) {
	if b.openAt != never && m.now > b.openAt+longestRun {
		b.openAt, b.episode = never, nil // its end was never told
		b.last = m.now
		b.calmFrom(m.now + drainedShot)
	}
	if e := b.episode; e != nil && b.openAt == never && m.now >= e.closed+e.wait+lookAfter {
		m.close(b, m.now)
	}
	b.watchLate(m.now)
	b.cutStretch(m)
	m.look(b)
}

// close ends an episode: what followed it until `at` is the answer to it.
func (m *Model) close(b *bed, at int64) {
	e := b.episode
	b.episode = nil
	if at < e.closed+e.wait+leastAfter && e.runs < mostRuns {
		return
	}
	s := b.observe(e, min(at, e.closed+e.wait+lookAfter))
	s.Turned = m.turn > s.Open-lookBefore && m.turn < s.AfterAt
	m.weigh(b, &s)
	b.shots = keep(b.shots, s, keptShots)
	b.book = nil
	m.overshoot(b, &s)
	m.seekSwapped(b, &s)
	m.seekBlocked(b)
}

// observe reads the tracks around an episode.
func (b *bed) observe(e *episode, to int64) shot {
	from := min(e.closed+e.wait, to-leastAfter)
	s := shot{
		Open: e.open, Closed: e.closed, Lit: e.lit, Runs: e.runs, Dose: b.dose(e),
		BaseAt: e.open - lookBefore/2, AfterAt: (from + to) / 2,
		Before: b.levels(e.open-lookBefore, e.open+1), After: b.levels(from, to+1),
	}
	for i, t := range b.tracks {
		s.Peak = append(s.Peak, t.peak(e.open, to))
		if e.runs == 1 {
			s.Halfway = append(s.Halfway, b.halfway(t, &s, i, to))
		}
	}
	return s
}

// dose gives the litres a plant, or the hours of valve time where litres are not known.
func (b *bed) dose(e *episode) float64 {
	if b.zone.FlowLPH > 0 && e.litres > 0 {
		return e.litres / float64(b.zone.Plants)
	}
	return e.seconds / 3600
}

// peak gives the highest median of three dots in a row.
func (t *track) peak(from, to int64) milli {
	d := t.between(from, to)
	high := unknown
	for i := 2; i < len(d); i++ {
		v := [3]milli{d[i-2].level, d[i-1].level, d[i].level}
		high = max(high, middle(v[:]))
	}
	return high
}

// halfway gives when a probe stood half way, with both ends where they would be at the
// shot itself but for uptake.
func (b *bed) halfway(t *track, s *shot, i int, to int64) int64 {
	if s.Before[i] == unknown || s.After[i] == unknown {
		return -1
	}
	drunk := func(from, to int64) milli {
		return milli(b.learned().rate(s.Lit) * 1000 * float64(to-from) / 3600)
	}
	return t.halfway(s.Open, to, s.Before[i]-drunk(s.BaseAt, s.Open), s.After[i]+drunk(s.Closed, s.AfterAt))
}

// halfway gives the seconds from an opening until the track stands half way from before
// to after: the middle of where it first passes that level and where it last does,
// between two dots by their line. -1 when it does not rise clearly.
func (t *track) halfway(open, to int64, before, after milli) int64 {
	if after-before < clearRise {
		return -1
	}
	half := before + (after-before)/2
	first, latest := int64(-1), int64(-1)
	last := dot{open, before}
	for _, d := range t.between(open+1, to) {
		if d.at > open+hour/2 {
			break
		}
		if last.level < half && d.level >= half {
			latest = last.at - open + int64(half-last.level)*(d.at-last.at)/int64(d.level-last.level)
			if first < 0 {
				first = latest
			}
		}
		last = d
	}
	if first < 0 {
		return -1
	}
	return (first + latest) / 2
}

// clearRise is the least rise of which a delay is read.
const clearRise = milli(1000)

// watchLate reads the level after drainage of the last shot, once it has been left
// alone for so long.
func (b *bed) watchLate(now int64) {
	n := len(b.shots)
	if n == 0 || b.busy() {
		return
	}
	s := &b.shots[n-1]
	if s.LateAt != 0 || s.Closed != b.last || now < s.Closed+drainedShot || now > s.Closed+drainedShot+lookLate {
		return
	}
	s.LateAt = s.Closed + drainedShot - lookLate/2
	s.Late = b.levels(s.Closed+drainedShot-lookLate, s.Closed+drainedShot)
	b.book = nil
}

// rises gives what each probe rose by, uptake meanwhile added (rate in points/h).
func (s *shot) rises(rate float64) []milli {
	out := make([]milli, len(s.Before))
	drunk := milli(rate * 1000 * float64(s.AfterAt-s.BaseAt) / 3600)
	for i := range out {
		out[i] = minus(s.After[i], s.Before[i])
		if out[i] != unknown {
			out[i] += drunk
		}
	}
	return out
}
