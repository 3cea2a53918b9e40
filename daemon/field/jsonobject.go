package field

import (
	"math"
	"slices"
)

// maxMembers bounds the members of one object of a report or input.
const maxMembers = 512

// object reads an object, handing over at each value. member must read it.
func (s *scanner) object(member func(key string) *Fault) *Fault {
	if !s.eat('{') {
		return s.bad("an object")
	}
	for first := true; ; first = false {
		another, f := s.more(first, '}')
		if f != nil || !another {
			return f
		}
		key, f := s.key()
		if f != nil {
			return f
		}
		if f = member(string(key)); f != nil {
			return f
		}
	}
}

// members are the names that an object has had.
type members struct{ names []string }

func (m *members) add(name string) *Fault {
	if slices.Contains(m.names, name) {
		return fault(causeDuplicate, "%q stands twice in one object", cut(name, 40))
	}
	if len(m.names) == maxMembers {
		return fault(causeTooMany, "more than %d members in one object", maxMembers)
	}
	m.names = append(m.names, name)
	return nil
}

// want refuses an object that lacks one of the names.
func (m *members) want(cause string, names ...string) *Fault {
	for _, name := range names {
		if !slices.Contains(m.names, name) {
			return fault(cause, "%s is missing", name)
		}
	}
	return nil
}

func (s *scanner) null() bool {
	s.peek()
	return s.word("null")
}

func (s *scanner) boolean(cause, name string) (bool, *Fault) {
	s.peek()
	switch {
	case s.word("true"):
		return true, nil
	case s.word("false"):
		return false, nil
	}
	return false, fault(cause, "%s: true or false is due", name)
}

// token reads a string of letters, digits and - _ . : between least and most long.
func (s *scanner) token(cause, name string, least, most int) (string, *Fault) {
	if s.peek() != '"' {
		return "", fault(cause, "%s: a string is due", name)
	}
	text, f := s.text()
	if f != nil {
		return "", f
	}
	if len(text) < least || len(text) > most || slices.ContainsFunc(text, notToken) {
		return "", fault(cause, "%s %q: %d to %d letters, digits or -_.: are due", name, cut(string(text), 40), least, most)
	}
	return string(text), nil
}

func notToken(c byte) bool {
	return !addressChar(c) && c != '-' && c != '_' && c != '.' && c != ':'
}

// whole reads a whole number from 0 to most, however it is written (12, 12.0).
func (s *scanner) whole(cause, name string, most int64) (int64, *Fault) {
	c := s.peek()
	if c != '-' && (c < '0' || c > '9') {
		return 0, fault(cause, "%s: a number is due", name)
	}
	v, ok, f := s.number()
	if f != nil {
		return 0, f
	}
	// A double holds every whole number up to 2^53, more than any uptime needs.
	if !ok || v < 0 || v > float64(min(most, 1<<53)) || v != math.Trunc(v) {
		return 0, fault(cause, "%s %s: a whole number from 0 to %d is due", name, number(v), most)
	}
	return int64(v), nil
}
