package configs

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"go.yaml.in/yaml/v4"
)

// The three files, in reading order.
const (
	RoomFile     = "room.yaml"
	ScheduleFile = "schedule.yaml"
	GatewayFile  = "gateway.yaml"
)

var fileNames = [...]string{RoomFile, ScheduleFile, GatewayFile}

// source is one file's text: it turns places into problems.
type source struct {
	name  string
	lines []string
	out   *problems
}

func newSource(name string, text []byte, out *problems) *source {
	s := strings.TrimPrefix(string(text), "\ufeff")
	s = strings.ReplaceAll(s, "\r\n", "\n")
	return &source{name: name, lines: strings.Split(s, "\n"), out: out}
}

// place is a point in a file.
type place struct {
	src       *source
	line, col int
}

// at gives the place of a node.
func (s *source) at(n *yaml.Node) place { return place{s, max(n.Line, 1), max(n.Column, 1)} }

// short gives "room.yaml:12".
func (p place) short() string {
	if p.src == nil {
		return "built in"
	}
	return p.src.name + ":" + strconv.Itoa(p.line)
}

// fail notes an error at the place.
func (p place) fail(code, hint, format string, args ...any) {
	p.note(false, code, hint, format, args)
}

// failIn notes an error that a zone's check met in a value that zones may share.
func (p place) failIn(zone, code, hint, format string, args ...any) {
	p.note(false, code, hint, format, args, zone)
}

// warnIn notes a warning likewise.
func (p place) warnIn(zone, code, hint, format string, args ...any) {
	p.note(true, code, hint, format, args, zone)
}

// warn notes a warning at the place.
func (p place) warn(code, hint, format string, args ...any) {
	p.note(true, code, hint, format, args)
}

func (p place) note(warning bool, code, hint, format string, args []any, zones ...string) {
	p.src.out.add(Problem{File: p.src.name, Line: p.line, Column: p.col, Code: code, Warning: warning, zones: zones,
		Message: clean(fmt.Sprintf(format, args...)), Hint: clean(hint), Excerpt: p.excerpt()})
}

// excerptWidth is how much of a long line is shown.
const excerptWidth = 100

// excerpt gives the line with its number, and a caret under the column.
func (p place) excerpt() string {
	if p.line > len(p.src.lines) {
		return ""
	}
	text := []rune(clean(masked(p.src.lines[p.line-1])))
	col := min(p.col-1, len(text))
	from := 0
	if col > excerptWidth-20 {
		from = col - excerptWidth/2
	}
	to := min(len(text), from+excerptWidth)
	gutter := fmt.Sprintf("%5d | ", p.line)
	line := strings.TrimRight(string(text[from:to]), " ")
	if line == "" {
		return ""
	}
	return gutter + line + "\n" + strings.Repeat(" ", len(gutter)-2) + "| " + strings.Repeat(" ", col-from) + "^"
}

// A problem is shown on the page and published: a password must not get there.
var secretForm = regexp.MustCompile(`(://)([^/\s"']*)(@)|(password["']?\s*:\s*)([^,}\s]+)()`)

// masked puts stars, one for one, over what may be a password.
func masked(line string) string {
	return secretForm.ReplaceAllStringFunc(line, func(found string) string {
		m := secretForm.FindStringSubmatch(found)
		stars := strings.Repeat("*", utf8.RuneCountInString(m[2]+m[5]))
		return m[1] + m[4] + stars + m[3] + m[6]
	})
}

// clean makes text fit for a terminal: one character for one, no control codes.
func clean(s string) string {
	if utf8.ValidString(s) && strings.IndexFunc(s, unprintable) < 0 {
		return s
	}
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\t':
			return ' '
		case unprintable(r) || r == utf8.RuneError:
			return '?'
		}
		return r
	}, s)
}

func unprintable(r rune) bool { return !unicode.IsPrint(r) }
