package register

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"rillgate/zones"
)

const (
	span        = 30 * time.Minute // what is judged together
	mended      = 10 * time.Minute // nothing came back for so long: it is over
	lately      = time.Hour        // a place that is silent for longer says nothing of now
	returnsMin  = 2                // fewer are a person's hands
	jumpsMin    = 3
	namesKept   = 4
	sureAfter   = 3    // readings in a row
	jumpPoints  = 10.0 // a fall of more is no soil drying
	jumpGap     = 10 * time.Minute
	serialsMost = 512
)

// streak is one of several names that are heard in turn.
type streak struct {
	now     string
	n       int           // in a row
	at      time.Duration // age of the last
	before  string        // the one before now
	names   []string      // heard lately, without now
	returns []time.Duration
}

func (s *streak) put(name string, at time.Duration) {
	s.at = at
	if name == s.now {
		s.n++
		return
	}
	if slices.Contains(s.names, name) {
		s.returns = append(s.returns, at)
		s.returns = s.returns[max(0, len(s.returns)-8):]
	}
	if s.now != "" {
		s.names = append(slices.DeleteFunc(s.names, func(n string) bool { return n == s.now || n == name }), s.now)
		s.names = s.names[max(0, len(s.names)-namesKept):]
	}
	s.before, s.now, s.n = s.now, name, 1
}

// sure reports whether the name stands for now.
func (s *streak) sure() bool { return s.n >= sureAfter }

// alternates reports whether names came back within the last half hour, and lately: what
// is mended is not told for long. One new name after the other is none: that is a person
// at work.
func (s *streak) alternates(at time.Duration) bool {
	n := 0
	for _, x := range s.returns {
		if at-x <= span {
			n++
		}
	}
	return n >= returnsMin && at-s.returns[len(s.returns)-1] <= mended
}

// spot is one place, and what was heard there.
type spot struct {
	serial streak
	points [32]point
	n      int
}

type point struct {
	at    time.Duration
	value float64
}

// Heard takes a live reading that came at an age of the room, at a wall clock.
func (r *Register) Heard(rd *zones.Reading, age time.Duration, at time.Time) {
	l := r.at(rd.Place)
	if rd.Retained || l == nil {
		return
	}
	s := r.spots[rd.Place]
	if s == nil {
		s = &spot{}
		r.spots[rd.Place] = s
	}
	if rd.Serial != "" {
		s.serial.put(rd.Serial, age)
		r.where(rd.Serial).put(rd.Place.String(), age)
		r.number(l, s, rd.Serial, at)
	}
	if rd.HasMoisture {
		s.points[s.n%len(s.points)] = point{age, rd.Moisture.Float()}
		s.n++
	}
	if !l.Heard {
		l.Heard = true
		r.note(l, Event{At: at, Kind: Met, To: firstWords(rd)})
	}
}

// number gives a probe the serial number that its place told. A named probe keeps its
// own, and whose it is told as moved or exchanged; who answers unasked has no claim: a
// number goes to where it is heard for sure.
func (r *Register) number(l *Life, s *spot, serial string, at time.Time) {
	o := r.owner(serial)
	switch {
	case o == l || o != nil && named(o), l.Serial != "" && named(l):
		return
	case (o != nil || l.Serial != "") && !s.serial.sure():
		return
	case o != nil:
		r.note(o, Event{At: at, Kind: Serial, From: serial, Note: serial + " answers at " + l.Place.String()})
		o.Serial, o.Heard = "", false
	}
	r.note(l, Event{At: at, Kind: Serial, From: l.Serial, To: serial})
	began := l.Serial == "" && !l.Heard
	if l.Serial != "" {
		l.Heard = false // another one
	}
	l.Serial = serial
	if began && !named(l) { // the one that left answers again, here
		r.rejoin(l, r.left(func(o *Life) bool { return o.Serial == serial }), at)
	}
}

// where gives the places of a serial number. Numbers that nobody uses any more make room.
func (r *Register) where(serial string) *streak {
	s := r.serials[serial]
	if s != nil {
		return s
	}
	if len(r.serials) >= serialsMost {
		for name := range r.serials { // order: each for itself
			if r.owner(name) == nil {
				delete(r.serials, name)
			}
		}
	}
	s = &streak{}
	if len(r.serials) < serialsMost {
		r.serials[serial] = s
	}
	return s
}

// firstWords says what a reading holds.
func firstWords(rd *zones.Reading) string {
	var w []string
	add := func(format string, x float64) {
		if !math.IsNaN(x) {
			w = append(w, fmt.Sprintf(format, x))
		}
	}
	if rd.HasMoisture {
		add("%.1f %%", rd.Moisture.Float())
	}
	add("permittivity %.1f", rd.Permittivity)
	add("EC %.2f mS/cm", rd.EC)
	add("%.1f C", rd.Temperature)
	if rd.Serial != "" {
		w = append(w, "serial number "+rd.Serial)
	}
	return strings.Join(append([]string{rd.Place.String()}, w...), ", ")
}

// jumps counts falls of the last half hour that no substrate makes, each after a rise as
// large: from one probe's number to another's and back.
func (s *spot) jumps(age time.Duration) (falls int) {
	risen := true
	for k := max(0, s.n-len(s.points)) + 1; k < s.n; k++ {
		was, is := s.points[(k-1)%len(s.points)], s.points[k%len(s.points)]
		switch {
		case age-was.at > span || is.at-was.at > jumpGap:
			risen = true
		case is.value > was.value+jumpPoints:
			risen = true
		case is.value < was.value-jumpPoints && risen:
			falls++
			risen = false
		}
	}
	return falls
}
