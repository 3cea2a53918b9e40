package sheet

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// A canvas collects SVG elements.
type canvas struct{ b strings.Builder }

func (c *canvas) put(format string, args ...any) { fmt.Fprintf(&c.b, format+"\n", args...) }

func (c *canvas) line(class string, x1, y1, x2, y2 int) {
	c.put(`<line class="%s" x1="%d" y1="%d" x2="%d" y2="%d"/>`, class, x1, y1, x2, y2)
}

func (c *canvas) rect(class string, x, y, w, h int) {
	c.put(`<rect class="%s" x="%d" y="%d" width="%d" height="%d" rx="3"/>`, class, x, y, w, h)
}

// letterWidth is how wide a letter is taken to be, as a share of its size; most
// fonts are narrower, so nothing runs out of its place.
const letterWidth = 0.6

// text writes one line and squeezes it where it would run over its room. What is
// far too long loses its end; the whole of it stands in the document's tables.
func (c *canvas) text(class string, x, y, size, room int, s string) {
	wide := func() int { return int(float64(utf8.RuneCountInString(s)) * letterWidth * float64(size)) }
	if most := room * 14 / 10; wide() > most {
		keep := int(float64(most) / letterWidth / float64(size))
		s = strings.TrimSpace(string([]rune(s)[:keep-1])) + "…"
	}
	squeeze := ""
	if wide() > room {
		squeeze = fmt.Sprintf(` textLength="%d" lengthAdjust="spacingAndGlyphs"`, room)
	}
	c.put(`<text class="%s" x="%d" y="%d" font-size="%d"%s>%s</text>`, class, x, y, size, squeeze, escaped(s))
}

// escaped makes text safe between tags and in quoted attributes; characters that
// XML does not know become a mark.
func escaped(s string) string {
	clean := strings.Map(func(r rune) rune {
		if r < ' ' && r != '\t' || r == utf8.RuneError || r == 0xFFFE || r == 0xFFFF {
			return '?'
		}
		return r
	}, s)
	return strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;", "'", "&#39;").Replace(clean)
}
