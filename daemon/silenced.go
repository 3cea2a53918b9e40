package daemon

import (
	"slices"
	"strings"
	"time"

	"rillgate/store"
	"rillgate/zones"
)

// silencedFor is how long after a start an alarm that was acknowledged before it may
// come back acknowledged. Later it is a new one, and rings.
const silencedFor = 10 * time.Minute

// alarmName names an alarm: one code for one subject.
type alarmName struct {
	code    zones.Reason
	subject string
}

// silenced keeps which alarms somebody acknowledged, over restarts: an acknowledgement
// lasts as long as its alarm. Its methods are the loop's.
type silenced struct {
	marks map[alarmName]*mark
	saved map[alarmName]bool // in the store
	until time.Duration      // Mono up to which remembered alarms may come back
	by    string             // who acknowledged last
}

// mark is one acknowledgement; stood says that its alarm was there in this process.
type mark struct {
	store.Acknowledgement
	stood bool
}

// remember takes over what the store has.
func (s *silenced) remember(all []store.Acknowledgement, mono time.Duration) {
	s.marks, s.saved, s.until = map[alarmName]*mark{}, map[alarmName]bool{}, mono+silencedFor
	for _, a := range all {
		name := alarmName{a.Code, a.Subject}
		s.marks[name], s.saved[name] = &mark{Acknowledgement: a}, true
	}
}

// put marks the alarms of a look, notes new acknowledgements and forgets those whose
// alarm is over.
func (s *silenced) put(alarms []zones.AlarmView, wall time.Time, mono time.Duration) {
	there := map[alarmName]bool{}
	for i := range alarms {
		a := &alarms[i]
		name := alarmName{a.Code, a.Subject}
		there[name] = true
		m := s.marks[name]
		if m == nil && a.Acknowledged {
			m = &mark{Acknowledgement: store.Acknowledgement{Code: a.Code, Subject: a.Subject, At: wall, By: s.by}}
			s.marks[name] = m
		}
		if m != nil {
			a.Acknowledged, m.stood = true, true
		}
	}
	for name, m := range s.marks { // order: each for itself
		if !there[name] && (m.stood || mono > s.until) {
			delete(s.marks, name)
		}
	}
}

// over forgets the acknowledgement of an alarm that ended.
func (s *silenced) over(code zones.Reason, subject string) { delete(s.marks, alarmName{code, subject}) }

// unsaved gives what the store does not have yet, and what it should forget.
func (s *silenced) unsaved() (fresh []store.Acknowledgement, gone []alarmName) {
	for name, m := range s.marks { // order: sorted below
		if !s.saved[name] {
			fresh = append(fresh, m.Acknowledgement)
		}
	}
	for name := range s.saved { // order: sorted below
		if s.marks[name] == nil {
			gone = append(gone, name)
		}
	}
	slices.SortFunc(fresh, func(a, b store.Acknowledgement) int {
		return strings.Compare(string(a.Code)+" "+a.Subject, string(b.Code)+" "+b.Subject)
	})
	slices.SortFunc(gone, func(a, b alarmName) int {
		return strings.Compare(string(a.code)+" "+a.subject, string(b.code)+" "+b.subject)
	})
	return fresh, gone
}

// kept notes that the store took a batch.
func (s *silenced) kept(b *batch) {
	for i := range b.silenced {
		s.saved[alarmName{b.silenced[i].Code, b.silenced[i].Subject}] = true
	}
	for _, name := range b.forgotten {
		delete(s.saved, name)
	}
}
