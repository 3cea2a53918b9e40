package trace

import (
	"encoding/json"
	"strconv"
	"unicode/utf8"
)

// scanner walks one line of JSON without copying it. Its errors carry the column.
type scanner struct {
	b     []byte
	i     int
	names map[string]string // short strings seen before, to share them
}

// fault is an error at the scanner's place.
func (s *scanner) fault(what, help string) error {
	return &LineError{Column: s.i + 1, What: what, Help: help}
}

func (s *scanner) space() {
	for s.i < len(s.b) && (s.b[s.i] == ' ' || s.b[s.i] == '\t' || s.b[s.i] == '\r') {
		s.i++
	}
}

// peek gives the next byte that is no space; 0 at the end.
func (s *scanner) peek() byte {
	s.space()
	if s.i < len(s.b) {
		return s.b[s.i]
	}
	return 0
}

// take steps over one wanted byte.
func (s *scanner) take(c byte) error {
	if s.peek() != c {
		return s.fault("want "+strconv.QuoteRune(rune(c))+", have "+s.here(), "a line is one JSON object: {\"at\":\"...\",\"reading\":{...}}")
	}
	s.i++
	return nil
}

// here names what stands at the scanner, for errors.
func (s *scanner) here() string {
	if s.i >= len(s.b) {
		return "the end of the line"
	}
	r, _ := utf8.DecodeRune(s.b[s.i:])
	return strconv.QuoteRune(r)
}

// word steps over a literal.
func (s *scanner) word(w string) bool {
	if end := s.i + len(w); end <= len(s.b) && string(s.b[s.i:end]) == w {
		s.i = end
		return true
	}
	return false
}

func (s *scanner) boolean() (bool, error) {
	s.space()
	switch {
	case s.word("true"):
		return true, nil
	case s.word("false"):
		return false, nil
	}
	return false, s.fault("want true or false, have "+s.here(), "write it without quotes")
}

// raw gives a string's bytes, good until the next line.
func (s *scanner) raw() ([]byte, error) {
	if s.peek() != '"' {
		return nil, s.fault("want a string, have "+s.here(), "put it in double quotes")
	}
	start := s.i + 1
	for j := start; j < len(s.b); j++ {
		switch c := s.b[j]; {
		case c == '"':
			s.i = j + 1
			return s.b[start:j], nil
		case c == '\\' || c >= utf8.RuneSelf || c < ' ':
			return s.escaped()
		}
	}
	return nil, s.fault("the string does not end", "close it with a double quote")
}

// escaped reads a string that holds escapes or more than ASCII.
func (s *scanner) escaped() ([]byte, error) {
	for j := s.i + 1; j < len(s.b); j++ {
		if s.b[j] == '\\' {
			j++
			continue
		}
		if s.b[j] != '"' {
			continue
		}
		var text string
		if token := s.b[s.i : j+1]; !utf8.Valid(token) || json.Unmarshal(token, &text) != nil {
			return nil, s.fault("the string is not valid JSON", "use UTF-8, and \\n, \\t or \\u00e9 for what needs an escape")
		}
		s.i = j + 1
		return []byte(text), nil
	}
	return nil, s.fault("the string does not end", "close it with a double quote")
}

// name reads a string that is likely to come again.
func (s *scanner) name() (string, error) {
	b, err := s.raw()
	if err != nil {
		return "", err
	}
	if known, ok := s.names[string(b)]; ok {
		return known, nil
	}
	text := string(b)
	if len(s.names) < 4096 {
		s.names[text] = text
	}
	return text, nil
}

// exactPowers are the powers of ten that a float64 holds exactly.
var exactPowers = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// number reads a JSON number. Up to 15 digits without an exponent are divided
// exactly by a power of ten, which rounds once and so equals strconv.ParseFloat.
func (s *scanner) number() (float64, error) {
	s.space()
	start, digits, point := s.i, 0, -1
	var mantissa int64
	negative := s.i < len(s.b) && s.b[s.i] == '-'
	if negative {
		s.i++
	}
	first := s.i
	for ; s.i < len(s.b); s.i++ {
		c := s.b[s.i]
		if c == '.' && point < 0 && digits > 0 {
			point = digits
			continue
		}
		if c < '0' || c > '9' {
			break
		}
		digits++
		if digits <= 15 {
			mantissa = mantissa*10 + int64(c-'0')
		}
	}
	plain := s.i >= len(s.b) || s.b[s.i] != 'e' && s.b[s.i] != 'E'
	leadingZero := digits > 1 && s.b[first] == '0' && point != 1
	if digits == 0 || digits > 15 || point == digits || leadingZero || !plain {
		s.i = start
		return s.longNumber()
	}
	v := float64(mantissa)
	if point >= 0 {
		v /= exactPowers[digits-point]
	}
	if negative {
		v = -v
	}
	return v, nil
}

// longNumber leaves the rarer forms, and the verdict on wrong ones, to encoding/json.
func (s *scanner) longNumber() (float64, error) {
	end := s.i
	for end < len(s.b) && (s.b[end] == '-' || s.b[end] == '+' || s.b[end] == '.' || s.b[end]|0x20 == 'e' || s.b[end] >= '0' && s.b[end] <= '9') {
		end++
	}
	var v float64
	if err := json.Unmarshal(s.b[s.i:end], &v); err != nil {
		return 0, s.fault("want a number, have "+s.here(), "write it as 46.2, without quotes or a unit")
	}
	s.i = end
	return v, nil
}
