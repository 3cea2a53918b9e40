package configs

// opening is a quote or a bracket that begins a value.
type opening struct {
	place
	char rune
}

// scan walks a text as YAML does, as far as quotes, brackets and comments go.
type scan struct {
	src   *source
	stack []opening // brackets that are open
	quote *opening  // the quote that is open
	torn  *opening  // the first quote that its line does not close
}

// scanTo walks from the beginning up to a place, or to the end.
func (s *source) scanTo(at place) scan {
	c := scan{src: s}
	for i, line := range s.lines {
		text, n := []rune(line), i+1
		if n > at.line {
			break
		}
		if n == at.line && at.col <= len(text) {
			text = text[:at.col-1]
		}
		c.line(n, text)
	}
	return c
}

// line walks one line.
func (c *scan) line(n int, text []rune) {
	begins := true // a value may begin here
	for i := 0; i < len(text); i++ {
		r := text[i]
		if c.quote != nil {
			i += c.inQuote(text, i)
			begins = false
			continue
		}
		if r == '#' && (i == 0 || text[i-1] == ' ' || text[i-1] == '\t') {
			break
		}
		c.char(opening{place{c.src, n, i + 1}, r}, begins)
		switch r {
		case ' ', '\t':
			begins = begins || i > 0 && (text[i-1] == ':' || text[i-1] == '-')
		case ',', '[', '{':
			begins = begins || len(c.stack) > 0
		default:
			begins = false
		}
	}
	if c.quote != nil && c.torn == nil {
		c.torn = c.quote
	}
}

// char takes one character outside of quotes.
func (c *scan) char(o opening, begins bool) {
	switch o.char {
	case '"', '\'':
		if begins {
			c.quote = &o
		}
	case '{', '[':
		if begins || len(c.stack) > 0 {
			c.stack = append(c.stack, o)
		}
	case '}', ']':
		if n := len(c.stack); n > 0 {
			c.stack = c.stack[:n-1]
		}
	}
}

// inQuote takes the character at i within a quote and gives how many more belong to
// it.
func (c *scan) inQuote(text []rune, i int) (skip int) {
	q := c.quote.char
	switch {
	case q == '"' && text[i] == '\\':
		return 1
	case text[i] != q:
		return 0
	case q == '\'' && i+1 < len(text) && text[i+1] == q:
		return 1 // '' is one quote within the value
	}
	c.quote = nil
	return 0
}

// unclosedBefore finds what the reader stumbled over long after it began: a quote
// that its line does not close, or a bracket that is not closed before the next line
// that belongs to it no more. nil = neither.
func (s *source) unclosedBefore(at place) *opening {
	c := s.scanTo(at)
	if c.torn != nil && c.torn.line < at.line {
		return c.torn
	}
	for i := len(c.stack) - 1; i >= 0; i-- {
		if o := &c.stack[i]; o.line < at.line && !s.closes(o) {
			return o
		}
	}
	return nil
}

// closes reports whether a bracket is closed within the lines that are indented
// deeper than its own.
func (s *source) closes(o *opening) bool {
	c := scan{src: s}
	own := indentation(s.lines[o.line-1])
	for n := o.line; n <= len(s.lines); n++ {
		line := s.lines[n-1]
		text := []rune(line)
		in := indentation(line)
		if n > o.line && in < len(line) && in <= own && line[in] != '}' && line[in] != ']' {
			return false
		}
		if n == o.line {
			for i := range o.col - 1 {
				text[i] = ' '
			}
		}
		if c.line(n, text); len(c.stack) == 0 {
			return true
		}
	}
	return false
}

// indentation counts the spaces at the beginning of a line.
func indentation(line string) int {
	n := 0
	for n < len(line) && line[n] == ' ' {
		n++
	}
	return n
}
