package response

// block is an undisturbed stretch: how fast each probe fell in it, in thousandths of a
// point an hour (unknown where it was not heard).
type block struct {
	From  int64   `json:"from"`
	To    int64   `json:"to"`
	Early bool    `json:"early,omitempty"` // it may still have drained
	Level milli   `json:"level"`           // of the zone at its beginning
	Falls []milli `json:"falls"`
	Odd   bool    `json:"odd,omitempty"` // water came from somewhere: not learned from
}

func (b *block) hours() float64 { return float64(b.To-b.From) / 3600 }

// Lengths of a stretch, s: it is cut at the longer, and counts from the shorter on. At
// night little moves, so that it takes longer to see it.
const (
	longDay, shortDay     = 45 * minute, 25 * minute
	longNight, shortNight = 2 * hour, hour
)

// cutStretch ends a stretch that is long enough.
func (b *bed) cutStretch(m *Model) {
	long := longNight
	if m.lit {
		long = longDay
	}
	if m.now >= b.calm+long {
		b.endStretch(m.now, m)
	}
}

// endStretch ends the stretch under way at an age: it is kept if long enough.
func (b *bed) endStretch(at int64, m *Model) {
	short := shortNight
	if m.lit {
		short = shortDay
	}
	from := b.calm
	if at < from+short || !m.told || b.busy() {
		return
	}
	b.calm = at
	from = max(from, at-longNight)
	k := block{From: from, To: at, Early: from < b.last+drainedShot}
	third := (at - from) / 3
	head, tail := b.firmLevels(from, from+third), b.firmLevels(at-third, at+1)
	k.Level = middleOf(head)
	for i := range head {
		fall := minus(head[i], tail[i])
		if b.tracks[i].jump >= from {
			fall = unknown // put elsewhere meanwhile
		}
		if fall != unknown {
			fall = milli(int64(fall) * hour / (2 * third))
		}
		k.Falls = append(k.Falls, fall)
	}
	if k.Level == unknown {
		return
	}
	k.Odd = middleOf(k.Falls) < -oddRise
	if m.lit {
		b.day = keep(b.day, k, keptBlocks)
		m.seekStill(b)
	} else {
		b.night = keep(b.night, k, keptBlocks)
	}
	b.book = nil
	m.seekDrift(b)
	m.endLeak(b, &k)
}

// firmLevels gives the level of each probe that spoke more than once.
func (b *bed) firmLevels(from, to int64) []milli {
	v := make([]milli, len(b.tracks))
	for i, t := range b.tracks {
		if v[i] = unknown; len(t.between(from, to)) >= 2 {
			v[i] = t.level(from, to)
		}
	}
	return v
}

// oddRise is a rise that no uptake makes, thousandths of a point an hour.
const oddRise = milli(400)

// uptake gives how fast the zone falls by itself, and each of its probes.
func (b *bed) uptake(blocks []block, field Number) (Number, []float64) {
	late := lateBlocks(blocks)
	var falls []float64
	each := make([][]float64, len(b.tracks))
	for i := range blocks {
		k := &blocks[i]
		if !k.shows(late, field) {
			continue
		}
		falls = append(falls, middleOf(k.Falls).float())
		for p, f := range k.Falls {
			if f != unknown && p < len(each) {
				each[p] = append(each[p], f.float())
			}
		}
	}
	own := medians(each)
	return withProbes(number(falls, floorFall), own), own
}

// lateBlocks counts the stretches in which nothing drained any more.
func lateBlocks(blocks []block) (n int) {
	for i := range blocks {
		if !blocks[i].Early {
			n++
		}
	}
	return n
}

// shows reports whether a stretch shows uptake alone.
func (b *block) shows(late int, field Number) bool {
	drains := b.Early && (late >= 4 && !field.Known() || field.Known() && b.Level.float() > field.Value-nearField)
	return !b.Odd && !drains && middleOf(b.Falls) != unknown
}
