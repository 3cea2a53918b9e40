package configs

import (
	"errors"
	"fmt"
	"strings"

	"go.yaml.in/yaml/v4"
)

// syntaxProblem turns the YAML reader's error into a place, words and a hint.
func syntaxProblem(s *source, err error) {
	var le *yaml.LoadError
	if !errors.As(err, &le) {
		place{s, 1, 1}.fail(CodeSyntax, "", "%v", err)
		return
	}
	at := place{s, max(le.Mark.Line, 1), max(le.Mark.Column, 1)}
	if o := s.unclosedBefore(at); o != nil {
		explainUnclosed(o, at)
		return
	}
	opened := place{s, max(le.ContextMark.Line, 1), max(le.ContextMark.Column, 1)}
	explainSyntax(at, opened, le)
}

// explainUnclosed tells where it began, not where the reader gave up.
func explainUnclosed(o *opening, at place) {
	switch o.char {
	case '"', '\'':
		o.fail(CodeSyntax, "close the quote at the end of the value", "the quote that opens here is not closed")
	case '{':
		o.fail(CodeSyntax, endOf('}', at), "the `{` that opens here is not closed")
	default:
		o.fail(CodeSyntax, endOf(']', at), "the `[` that opens here is not closed")
	}
}

func endOf(closer rune, at place) string {
	return fmt.Sprintf("write a `%c` at the end of the value; without one it was read on to line %d, column %d", closer, at.line, at.col)
}

func explainSyntax(at, opened place, le *yaml.LoadError) {
	msg := le.Message
	has := func(part string) bool { return strings.Contains(msg, part) }
	switch {
	case at.char() == '\t':
		at.fail(CodeSyntax, "indent with spaces, not with tabs", "a tab stands in the indentation")
	case strings.Contains(le.ContextMsg, "scanning an alias"), has("unknown anchor"):
		at.starred().fail(CodeSyntax, `a value that begins with * is put in quotes: cron: "*/5 * * * *"`, "a bare `*` begins an alias in YAML")
	case has("cannot start any token"), has("scanning an anchor"):
		at.fail(CodeSyntax, "put the value in quotes", "a value cannot begin with `%c` here", at.char())
	case has("mapping values are not allowed"):
		at.fail(CodeSyntax, "give this line the indentation of its neighbours, or put a text with `: ` in it in quotes", "a second `:` where one value is due, or the indentation is off")
	case has("expected ',' or '}'"):
		opened.fail(CodeSyntax, unclosed('}', at), "the `{` that opens here is not closed in good order")
	case has("expected ',' or ']'"):
		opened.fail(CodeSyntax, unclosed(']', at), "the `[` that opens here is not closed in good order")
	case has("found unexpected end of stream"):
		opened.fail(CodeSyntax, "close the quote at the end of the value", "the quote that opens here is not closed")
	case has("unknown escape"):
		at.fail(CodeSyntax, "use single quotes, where a backslash is only a backslash", "a backslash before a character that needs none")
	case has("max depth"):
		at.fail(CodeSyntax, "no value of these files lies deeper than eight", "nested deeper than %d", maxDepth)
	case has("expected node content"):
		at.fail(CodeSyntax, "a bracket before it is not closed, or a comma is one too many", "no value can begin here")
	case has("did not find expected key"), has("expected <document start>"), has("expected '-' indicator"):
		at.fail(CodeSyntax, "keys of one mapping stand in one column", "this line fits no key above it: the indentation is off")
	default:
		at.fail(CodeSyntax, "see the line above, too: the mistake may begin there", "%s", msg)
	}
}

func unclosed(closer rune, at place) string {
	return fmt.Sprintf("a `,` or `%c` was due by line %d, column %d", closer, at.line, at.col)
}

// char gives the character at the place, 0 past the end.
func (p place) char() rune {
	if p.line > len(p.src.lines) {
		return 0
	}
	r := []rune(p.src.lines[p.line-1])
	if p.col > len(r) {
		return 0
	}
	return r[p.col-1]
}

// starred moves to the first bare * of the line: the YAML reader takes "*/5" for
// an alias and only stumbles over the next star.
func (p place) starred() place {
	if p.line > len(p.src.lines) {
		return p
	}
	line := p.src.lines[p.line-1]
	for _, before := range []string{": *", "[*", ", *", "- *"} {
		if i := strings.Index(line, before); i >= 0 {
			i += strings.Index(before, "*")
			return place{p.src, p.line, len([]rune(line[:i])) + 1}
		}
	}
	return p
}
