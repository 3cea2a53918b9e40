package publish

import (
	"fmt"
	"strings"
)

// validID reports whether s may be a level of the tree: a-z, 0-9 and hyphen.
func validID(s string) bool {
	if s == "" {
		return false
	}
	for i := range len(s) {
		if !idByte(s[i]) {
			return false
		}
	}
	return true
}

func idByte(c byte) bool {
	return c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || c == '-'
}

// asID makes any name a level of the tree. Ids of the files pass unchanged; a probe
// known by its place only ("north/1/A") becomes "north-1-upper-a", because
// addresses differ by case and levels may not.
func asID(s string) string {
	if validID(s) {
		return s
	}
	var b strings.Builder
	for i := range len(s) {
		switch c := s[i]; {
		case idByte(c):
			b.WriteByte(c)
		case c >= 'A' && c <= 'Z':
			b.WriteString("upper-")
			b.WriteByte(c - 'A' + 'a')
		case c == '/' || c == ' ' || c == '_' || c == '.' || c == ':':
			b.WriteByte('-')
		default:
			fmt.Fprintf(&b, "x%02x", c)
		}
	}
	if b.Len() == 0 {
		return "none"
	}
	return b.String()
}
