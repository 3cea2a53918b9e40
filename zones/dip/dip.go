// Package dip tells which of a room's probes a person put into a cup of water and took
// out again. It looks on while beds are watered, and rather says that it is not sure than
// name a wrong one.
//
//	readings quiet --> rises at once: "maybe"  --> falls at once: "sure"
//	                   two at a time: "several"    anything that a bed might do: "unsure"
//
// It is pure: time is what it is told.
package dip

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"rillgate/zones"
)

// What tells a cup from a bed; all chosen here. Numbers are points of moisture, or units
// of permittivity for a probe that sends nothing else.
const (
	riseLeast  = 15.0 // a smaller rise may be a shot
	wetLeast   = 60.0 // water reads more than a bed does
	quietMost  = 5.0  // readings of one bed differ by less within minutes
	fallShare  = 0.6  // of the rise, from one reading to the next: no bed drains so
	nearLeast  = 3.0  // a neighbour that rises so much may have been watered too
	nearWithin = 10 * time.Minute
	waterAfter = 30 * time.Minute // a shot shows for so long
	settles    = 5 * time.Minute  // another level for so long is where it stands now
	quietFirst = 2                // readings before a rise counts
)

// Kind says what became known.
type Kind string

// The kinds of word.
const (
	Ready   Kind = "ready"   // every probe that speaks was heard twice
	Maybe   Kind = "maybe"   // one rose
	Several Kind = "several" // more than one rose
	Sure    Kind = "sure"    // one rose and fell, and nothing but a cup does so
	Unsure  Kind = "unsure"  // one rose and fell, and something else might have done it
)

// Word is one thing to be told to the person with the cup.
type Word struct {
	Kind  Kind   `json:"kind"`
	Probe string `json:"probe,omitempty"` // id
	Text  string `json:"text"`
}

// Finder looks on. The zero value is ready to use; it is not safe for concurrent use.
type Finder struct {
	// Zone is whose probes are expected in the cup; another one is named all the same, and
	// that it is another's. "" = any.
	Zone string

	spots   map[zones.Place]*spot
	watered map[string]time.Time // by zone
	ready   bool
	told    string // places of the last "several"
	words   []Word
}

// spot is what one place said lately.
type spot struct {
	id, zone string
	arrived  time.Time
	n        int     // readings so far
	base     float64 // where it stands
	moved    time.Time
	last     float64
	rose     time.Time // when it last rose by nearLeast
	wet      bool
	wetAt    time.Time
	peak     float64
	company  bool // another one was wet meanwhile
}

// Look takes the room as it is shown at an instant, and gives what became known. Looks
// come at least as often as readings.
func (f *Finder) Look(v *zones.View) []Word {
	if f.spots == nil {
		f.spots, f.watered = map[zones.Place]*spot{}, map[string]time.Time{}
	}
	f.words = nil
	for i := range v.Zones {
		if z := &v.Zones[i]; z.State == zones.Watering || z.RestUntil != nil {
			f.watered[z.ID] = v.Wall
		}
	}
	for i := range v.Probes {
		f.probe(v, &v.Probes[i])
	}
	f.nowReady(v)
	f.several()
	return f.words
}

// value gives what a probe says, and whether it says anything.
func value(p *zones.ProbeView) (float64, bool) {
	switch {
	case p.AgeSeconds == nil:
		return 0, false
	case p.Moisture != nil:
		return *p.Moisture, true
	case p.Permittivity != nil:
		return *p.Permittivity, true
	}
	return 0, false
}

func (f *Finder) probe(v *zones.View, p *zones.ProbeView) {
	x, ok := value(p)
	if !ok {
		return
	}
	s := f.spots[p.Place]
	if s == nil {
		s = &spot{base: x, last: x}
		f.spots[p.Place] = s
	}
	s.id, s.zone = p.ID, p.Zone
	arrived := v.Wall.Add(-time.Duration(*p.AgeSeconds) * time.Second)
	if s.n > 0 && x == s.last && arrived.Sub(s.arrived) < 1500*time.Millisecond {
		return // the same reading, whose age is told in whole seconds
	}
	s.arrived = arrived
	f.reading(v, p, s, x)
	s.n++
	s.last = x
}

// reading takes a new one.
func (f *Finder) reading(v *zones.View, p *zones.ProbeView, s *spot, x float64) {
	now := v.Wall
	if x >= s.base+nearLeast {
		s.rose = now
	}
	switch {
	case s.wet && x <= s.peak-fallShare*(s.peak-s.base):
		f.out(v, p, s, x)
	case s.wet:
		s.peak = max(s.peak, x)
	case x >= s.base+riseLeast && s.n >= quietFirst:
		s.wet, s.wetAt, s.peak, s.company, s.moved = true, now, x, false, time.Time{}
		f.say(Maybe, p, fmt.Sprintf("%s rose from %.0f to %.0f: take it out of the water, to be sure", titled(p), s.base, x))
	default:
		s.settle(x, now)
	}
}

// settle follows what a bed does, and takes another level for its own once it has stood
// there.
func (s *spot) settle(x float64, now time.Time) {
	if x > s.base-quietMost && x < s.base+quietMost {
		s.base, s.moved = x, time.Time{}
		return
	}
	if s.moved.IsZero() {
		s.moved = now
	}
	if s.n < quietFirst || now.Sub(s.moved) >= settles {
		s.base, s.moved = x, time.Time{}
	}
}

// out judges a probe that rose and fell.
func (f *Finder) out(v *zones.View, p *zones.ProbeView, s *spot, x float64) {
	text := fmt.Sprintf("%s rose from %.0f to %.0f and fell to %.0f", titled(p), s.base, s.peak, x)
	if doubt := f.doubt(v, p, s, x); doubt != "" {
		f.say(Unsure, p, text+", but "+doubt)
	} else {
		f.say(Sure, p, text+": this is the one in your hand")
	}
	s.wet, s.base, s.moved = false, x, time.Time{}
}

// doubt says what else may have made a probe rise and fall, "" for nothing.
func (f *Finder) doubt(v *zones.View, p *zones.ProbeView, s *spot, x float64) string {
	deep := s.peak >= wetLeast && s.peak-s.base >= 2*riseLeast
	switch {
	case s.last-x < fallShare*(s.peak-s.base):
		return "not at once: dip it once more, and take it out swiftly"
	case s.company:
		return "others rose at the same time: one probe at a time, please"
	case s.peak < wetLeast:
		return "a cup of water reads more than that: is it in up to its body?"
	case jumps(v, p.ID):
		return "it jumps by itself (`rillgate probes`): mend that first"
	case !deep && f.wateredLately(s, v.Wall):
		return "its bed was watered lately: dip it once more later"
	}
	return ""
}

func jumps(v *zones.View, id string) bool {
	return slices.ContainsFunc(v.Alarms, func(a zones.AlarmView) bool {
		return a.Code == zones.FindingAddressTwice && a.Subject == id
	})
}

// wateredLately reports whether the bed of a probe got water: by the room's word, or by
// what its neighbours show.
func (f *Finder) wateredLately(s *spot, now time.Time) bool {
	if at, ok := f.watered[s.zone]; ok && now.Sub(at) <= waterAfter {
		return true
	}
	for _, o := range f.spots { // order: any will do
		if o != s && o.zone == s.zone && !o.rose.IsZero() && now.Sub(o.rose) <= nearWithin {
			return true
		}
	}
	return false
}

// nowReady tells once that a rise would be seen.
func (f *Finder) nowReady(v *zones.View) {
	n := 0
	for _, s := range f.spots { // order: all must be
		if f.Zone != "" && s.zone != f.Zone {
			continue
		}
		if n++; s.n < quietFirst && v.Wall.Sub(s.arrived) < settles {
			return
		}
	}
	if f.ready || n == 0 {
		return
	}
	f.ready = true
	f.words = append(f.words, Word{Kind: Ready, Text: speaking(n, f.Zone) + ": put one into the cup"})
}

func speaking(n int, zone string) string {
	text := fmt.Sprintf("%d probes", n)
	if n == 1 {
		text = "1 probe"
	}
	if zone != "" {
		text += " of zone " + zone
	}
	if n == 1 {
		return text + " speaks"
	}
	return text + " speak"
}

// several tells of more than one that is wet at a time.
func (f *Finder) several() {
	var names []string
	for _, s := range f.spots { // order: sorted below
		if s.wet {
			names = append(names, s.id)
		}
	}
	if len(names) < 2 {
		f.told = ""
		return
	}
	for _, s := range f.spots { // order: each for itself
		s.company = s.company || s.wet
	}
	slices.Sort(names)
	if key := strings.Join(names, " "); key != f.told {
		f.told = key
		f.words = append(f.words, Word{Kind: Several, Text: fmt.Sprintf("%d rose at once, %s: one probe at a time", len(names), zones.Names(names))})
	}
}

func (f *Finder) say(k Kind, p *zones.ProbeView, text string) {
	if f.Zone != "" && p.Zone != f.Zone {
		text += "; it is not one of zone " + f.Zone
	}
	f.words = append(f.words, Word{Kind: k, Probe: p.ID, Text: text})
}

// titled names a probe by all that a person may know it by.
func titled(p *zones.ProbeView) string {
	s := p.ID + " (" + p.Place.String()
	for _, part := range []string{p.Label, p.Serial} {
		if part != "" {
			s += ", " + part
		}
	}
	if p.Zone == "" {
		return s + ", in no zone)"
	}
	return s + ", zone " + p.Zone + ")"
}
