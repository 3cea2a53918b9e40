package field

import (
	"bytes"
	"encoding/json"
	"strconv"
	"unicode/utf8"
)

// maxDepth bounds nested arrays and objects in a payload.
const maxDepth = 8

// scanner reads JSON (RFC 8259) from the left, strictly: no comments, no trailing
// commas, no NaN. It is small because payloads arrive by the thousand.
type scanner struct {
	data []byte
	pos  int
}

// newScanner refuses what is too long or is not UTF-8.
func newScanner(payload []byte) (scanner, *Fault) {
	if len(payload) > MaxPayload {
		return scanner{}, fault(causeTooLong, "%d bytes: at most %d are taken", len(payload), MaxPayload)
	}
	if !utf8.Valid(payload) {
		return scanner{}, fault(causeJSON, "not UTF-8")
	}
	return scanner{data: payload}, nil
}

func (s *scanner) bad(want string) *Fault {
	if s.pos >= len(s.data) {
		return fault(causeJSON, "it ends where %s is due", want)
	}
	return fault(causeJSON, "%s is due at byte %d, not %q", want, s.pos+1, s.data[s.pos])
}

// peek gives the next byte that is no white space, 0 at the end.
func (s *scanner) peek() byte {
	for s.pos < len(s.data) {
		switch c := s.data[s.pos]; c {
		case ' ', '\t', '\n', '\r':
			s.pos++
		default:
			return c
		}
	}
	return 0
}

func (s *scanner) eat(c byte) bool {
	if s.peek() != c || s.pos >= len(s.data) {
		return false
	}
	s.pos++
	return true
}

// end wants nothing but white space from here on.
func (s *scanner) end() *Fault {
	s.peek()
	if s.pos < len(s.data) {
		return s.bad("the end")
	}
	return nil
}

// more steps to the next element of an array or object that ends with closing.
func (s *scanner) more(first bool, closing byte) (bool, *Fault) {
	if s.eat(closing) {
		return false, nil
	}
	if first {
		return true, nil
	}
	if !s.eat(',') {
		return false, s.bad("a comma or " + strconv.QuoteRune(rune(closing)))
	}
	if s.peek() == closing {
		return false, s.bad("another element after the comma")
	}
	return true, nil
}

// key reads a member's name and its colon.
func (s *scanner) key() ([]byte, *Fault) {
	k, f := s.text()
	if f != nil {
		return nil, f
	}
	if !s.eat(':') {
		return nil, s.bad("a colon")
	}
	return k, nil
}

// text reads a string. Without escapes the result is a part of the payload.
func (s *scanner) text() ([]byte, *Fault) {
	if s.peek() != '"' {
		return nil, s.bad("a string")
	}
	start := s.pos
	for i := start + 1; i < len(s.data); i++ {
		switch c := s.data[i]; {
		case c == '"':
			s.pos = i + 1
			return s.data[start+1 : i], nil
		case c == '\\':
			return s.escaped(start)
		case c < 0x20:
			s.pos = i
			return nil, s.bad("a character of a string")
		}
	}
	s.pos = len(s.data)
	return nil, s.bad("the end of a string")
}

// escaped reads a string with escapes in it; start is at its opening quote.
func (s *scanner) escaped(start int) ([]byte, *Fault) {
	i := start + 1
	for ; i < len(s.data) && s.data[i] != '"'; i++ {
		if s.data[i] == '\\' {
			i++
		}
	}
	if i >= len(s.data) {
		s.pos = len(s.data)
		return nil, s.bad("the end of a string")
	}
	var out string
	if json.Unmarshal(s.data[start:i+1], &out) != nil {
		s.pos = start
		return nil, s.bad("a well-formed string")
	}
	s.pos = i + 1
	return []byte(out), nil
}

// number reads a number as a double. ok is false when none can hold it (1e400).
func (s *scanner) number() (v float64, ok bool, f *Fault) {
	start := s.pos
	if !s.skipNumber() {
		return 0, false, s.bad("a number")
	}
	v, err := strconv.ParseFloat(string(s.data[start:s.pos]), 64)
	return v, err == nil, nil
}

// skipNumber steps over a number by the grammar of RFC 8259, section 6.
func (s *scanner) skipNumber() bool {
	if s.pos < len(s.data) && s.data[s.pos] == '-' {
		s.pos++
	}
	if s.pos < len(s.data) && s.data[s.pos] == '0' {
		s.pos++
	} else if !s.skipDigits() {
		return false
	}
	if s.pos < len(s.data) && s.data[s.pos] == '.' {
		s.pos++
		if !s.skipDigits() {
			return false
		}
	}
	if s.pos < len(s.data) && (s.data[s.pos] == 'e' || s.data[s.pos] == 'E') {
		s.pos++
		if s.pos < len(s.data) && (s.data[s.pos] == '+' || s.data[s.pos] == '-') {
			s.pos++
		}
		return s.skipDigits()
	}
	return true
}

func (s *scanner) skipDigits() bool {
	start := s.pos
	for s.pos < len(s.data) && s.data[s.pos] >= '0' && s.data[s.pos] <= '9' {
		s.pos++
	}
	return s.pos > start
}

func (s *scanner) word(w string) bool {
	if !bytes.HasPrefix(s.data[s.pos:], []byte(w)) {
		return false
	}
	s.pos += len(w)
	return true
}

// skip steps over any value.
func (s *scanner) skip(depth int) *Fault {
	switch c := s.peek(); {
	case c == '"':
		_, f := s.text()
		return f
	case c == '[' || c == '{':
		if depth >= maxDepth {
			return fault(causeJSON, "nested deeper than %d", maxDepth)
		}
		return s.skipNested(c, depth+1)
	case s.word("true") || s.word("false") || s.word("null"):
		return nil
	case !s.skipNumber():
		return s.bad("a value")
	}
	return nil
}

func (s *scanner) skipNested(opening byte, depth int) *Fault {
	s.pos++
	closing := opening + 2 // ']' and '}' stand two after '[' and '{'
	for first := true; ; first = false {
		another, f := s.more(first, closing)
		if f != nil || !another {
			return f
		}
		if opening == '{' {
			if _, f = s.key(); f != nil {
				return f
			}
		}
		if f = s.skip(depth); f != nil {
			return f
		}
	}
}
