package register

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"rillgate/zones"
)

// Register is the lives of a room's probes, and what was heard of them lately. The zero
// value is not usable.
type Register struct {
	lives   []*Life // in order of key
	spots   map[zones.Place]*spot
	serials map[string]*streak // where a serial number is heard
	changed map[string]bool    // keys of lives that changed since Changed
	joined  []Life             // marks of those that went into another, since Changed
	births  int
}

// New goes on from what was kept; nil begins.
func New(kept []Life) *Register {
	r := &Register{spots: map[zones.Place]*spot{}, serials: map[string]*streak{}, changed: map[string]bool{}}
	for i := range kept {
		if l := kept[i]; l.Key != "" && l.Into == "" && r.byKey(l.Key) == nil {
			l.Events = slices.Clone(l.Events)
			r.lives = append(r.lives, &l)
		}
	}
	slices.SortFunc(r.lives, func(a, b *Life) int { return cmp.Compare(a.Key, b.Key) })
	return r
}

func (r *Register) find(ok func(l *Life) bool) *Life {
	if i := slices.IndexFunc(r.lives, ok); i >= 0 {
		return r.lives[i]
	}
	return nil
}

func (r *Register) byKey(key string) *Life {
	return r.find(func(l *Life) bool { return l.Key == key })
}

func (r *Register) byID(id string) *Life {
	return r.find(func(l *Life) bool { return !l.Gone && l.ID == id })
}

func (r *Register) at(place zones.Place) *Life {
	return r.find(func(l *Life) bool { return !l.Gone && l.Place == place })
}

// owner gives the probe that a serial number belongs to, nil for none.
func (r *Register) owner(serial string) *Life {
	return r.find(func(l *Life) bool { return serial != "" && !l.Gone && l.Serial == serial })
}

// Number puts the serial numbers that are known into a look at the room, where nothing
// has told one since its start.
func (r *Register) Number(v *zones.View) {
	for i := range v.Probes {
		p := &v.Probes[i]
		if p.Serial != "" {
			continue // the room tells it
		}
		if l := r.byID(p.ID); l != nil && l.Place == p.Place {
			p.Serial = l.Serial
		}
	}
}

// Lives gives the lives that a word means, the present one first: an id, a place as
// "north/1/0", or a serial number, now or in the past.
func (r *Register) Lives(word string) []Life { return Lives(r.all(), word) }

func (r *Register) all() []Life {
	out := make([]Life, len(r.lives))
	for i, l := range r.lives {
		out[i] = *l
		out[i].Events = slices.Clone(l.Events)
	}
	return out
}

// Lives picks the lives that a word means, as Register.Lives does.
func Lives(all []Life, word string) (out []Life) {
	for i := range all {
		if all[i].means(word) {
			out = append(out, all[i])
		}
	}
	slices.SortStableFunc(out, func(a, b Life) int { return cmp.Compare(a.rank(word), b.rank(word)) })
	return out
}

func (l *Life) means(word string) bool {
	if l.ID == word || l.Place.String() == word || l.Serial == word {
		return word != ""
	}
	return word != "" && slices.ContainsFunc(l.Events, func(e Event) bool {
		switch e.Kind {
		case Renamed, Serial:
			return e.From == word || e.To == word
		case Exchange:
			return titles(e.From, word) || titles(e.To, word)
		}
		return false
	})
}

// titles reports whether an exchange names a serial number, or all that titled says.
func titles(title, word string) bool {
	return title == word || strings.HasPrefix(title, word+" at ")
}

// rank puts what is before what was.
func (l *Life) rank(word string) int {
	switch {
	case !l.Gone && (l.ID == word || l.Serial == word):
		return 0
	case !l.Gone:
		return 1
	}
	return 2
}

// Changed gives the lives that changed since it was last asked, to be kept.
func (r *Register) Changed() (out []Life) {
	for _, l := range r.lives {
		if r.changed[l.Key] {
			one := *l
			one.Events = slices.Clone(l.Events)
			out = append(out, one)
		}
	}
	out = append(out, r.joined...)
	clear(r.changed)
	r.joined = nil
	return out
}

// note puts an event into a life. Of many the newest stay, and the first.
func (r *Register) note(l *Life, e Event) {
	if len(l.Events) >= eventsMost {
		l.Events = slices.Delete(l.Events, 1, 2)
	}
	l.Events = append(l.Events, e)
	r.changed[l.Key] = true
}

// born begins a life. A register that is full forgets one that is gone; without one it
// takes no more.
func (r *Register) born(p *zones.ProbeView, at time.Time) *Life {
	if len(r.lives) >= livesMost {
		i := slices.IndexFunc(r.lives, func(l *Life) bool { return l.Gone })
		if i < 0 {
			return nil
		}
		r.lives = slices.Delete(r.lives, i, i+1)
	}
	key := ""
	for key == "" || r.byKey(key) != nil {
		r.births++
		key = fmt.Sprintf("%s %d %s", at.UTC().Format(time.RFC3339), r.births, p.Place)
	}
	l := &Life{Key: key, ID: p.ID, Place: p.Place, InFiles: p.InFiles}
	r.lives = append(r.lives, l)
	slices.SortFunc(r.lives, func(a, b *Life) int { return cmp.Compare(a.Key, b.Key) })
	return l
}
