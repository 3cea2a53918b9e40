package response

import "slices"

// Times after which what follows is undisturbed, s.
const (
	settleLights = 15 * minute // probes lag behind a change of uptake
	settleShot   = 20 * minute // a shot has arrived
	drainedShot  = 60 * minute // and drained
	never        = int64(-1 << 40)
)

// bed is one zone: its probes, what is under way, and what was observed.
type bed struct {
	zone   Zone
	tracks []*track // in the order of zone.Probes

	openAt  int64    // never = closed
	episode *episode // water given and not judged yet
	last    int64    // age of the last close, or of water that came by another zone's shot
	calm    int64    // age from which the zone is undisturbed
	since   int64    // age at which the model began to look

	shots []shot  // the last ones, at most keptShots
	day   []block // the last undisturbed stretches, at most keptBlocks each
	night []block

	five  int64     // age of the last look at five minutes
	found []Finding // of the zone and its probes
	book  *taught   // reckoned from shots and blocks; nil = anew
}

const (
	keptShots  = 64
	keptBlocks = 64
)

func newBed(z Zone, now int64) *bed {
	b := &bed{zone: z, openAt: never, last: never, calm: now, since: now}
	for _, p := range z.Probes {
		b.tracks = append(b.tracks, &track{probe: p, dots: make([]dot, 0, 512)})
	}
	return b
}

// levels gives the median of each probe between two ages.
func (b *bed) levels(from, to int64) []milli {
	v := make([]milli, len(b.tracks))
	for i, t := range b.tracks {
		v[i] = t.level(from, to)
	}
	return v
}

// calmFrom says that what comes before an age is disturbed.
func (b *bed) calmFrom(at int64) { b.calm = max(b.calm, at) }

// opened begins an episode, or goes on in one whose water has not settled.
func (b *bed) opened(at int64, m *Model) {
	b.endStretch(at, m)
	b.openAt = at
	b.calmFrom(at + settleShot)
	b.forgetLows()
	if e := b.episode; e != nil {
		if at < e.closed+e.wait && e.runs < mostRuns {
			return
		}
		m.close(b, at)
	}
	b.episode = &episode{open: at, closed: at, lit: m.lit, wait: b.wait()}
}

// ran ends a run. One that was not told at its opening is taken in whole.
func (b *bed) ran(r Run, m *Model) {
	if b.openAt == never {
		b.opened(seconds(r.Opened), m)
	}
	e := b.episode
	e.runs++
	e.closed = max(e.closed, seconds(r.Closed))
	e.seconds += float64(r.Closed-r.Opened) / 1e9
	e.litres += r.Litres
	b.openAt = never
	b.last = e.closed
	b.calmFrom(e.closed + max(settleShot, e.wait+lookAfter))
	b.forgetLows()
}

// wait gives how long after a close a shot is waited for, s: three times the delay that
// the zone has shown.
func (b *bed) wait() int64 {
	w := 9 * minute
	if d := b.learned().DelayMinutes; d.N >= 4 {
		w = min(max(w, int64(3*d.Value*60)), 30*minute)
	}
	return w
}

// busy reports whether the zone is being watered, or was and is not judged yet.
func (b *bed) busy() bool { return b.openAt != never || b.episode != nil }

// keep adds to a list that holds at most n, the oldest going first.
func keep[T any](list []T, x T, n int) []T {
	if len(list) >= n {
		list = slices.Delete(list, 0, len(list)-n+1)
	}
	return append(list, x)
}
