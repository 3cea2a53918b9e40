package page

import (
	"cmp"
	"fmt"
	"html"
	"html/template"
	"math"
	"slices"
	"strings"
	"time"
	"unicode/utf8"
)

// level is a thin line across the picture.
type level struct {
	name, short string
	at          float64 // %
	class       string
}

// chart is what one picture shows.
type chart struct {
	title    string
	from, to time.Time
	loc      *time.Location
	points   []Point
	shots    []Shot
	levels   []level
	write    writing
	unit     string  // "" = %
	least    float64 // of the y axis; 0 = 10
	bare     bool    // no strip for shots
}

// frame is the geometry of one drawing, in its own units (CSS pixels when shown at
// full width).
type frame struct {
	w, h                     float64
	left, right, top, bottom float64
	hours                    int // between labels on the time axis
	days                     int // where they are 24 apart, days between labels; 0 = 1
	most                     int // points of the line; 0 = 360
	narrow                   bool
	lo, hi                   float64
	chart                    *chart
	b                        strings.Builder
}

const track = 12 // height of the strip of shots, under the plot

// drawWide and drawNarrow draw the same picture for two widths of screen; the
// stylesheet shows the one that fits, so that its writing stays readable.
func (c *chart) drawWide(height float64) template.HTML {
	return c.draw(&frame{w: 760, h: height, left: 48, right: 104, top: 10, bottom: 46, hours: 3})
}

func (c *chart) drawNarrow(height float64) template.HTML {
	return c.draw(&frame{w: 340, h: height, left: 44, right: 84, top: 10, bottom: 46, hours: 6, narrow: true})
}

func (c *chart) draw(f *frame) template.HTML {
	f.chart = c
	class := "wide"
	if f.narrow {
		class = "narrow"
	}
	fmt.Fprintf(&f.b, `<svg class="chart %s" viewBox="0 0 %g %g" role="img" aria-label="%s">`, class, f.w, f.h, html.EscapeString(c.title))
	f.scale()
	f.grid()
	f.drawLevels()
	f.drawLine()
	f.drawShots()
	f.b.WriteString(`</svg>`)
	return template.HTML(f.b.String()) // numbers and escaped texts only
}

// scale fits the y axis to the line and its levels.
func (f *frame) scale() {
	i := interval{lo: math.Inf(1), hi: math.Inf(-1)}
	for _, s := range stretches(f.chart.points) {
		for _, p := range s {
			i.include(p.Value)
		}
	}
	for _, l := range f.chart.levels {
		i.include(l.at)
	}
	if i.empty() {
		i = interval{lo: 0, hi: 100}
	}
	i = i.widen(cmp.Or(f.chart.least, 10))
	margin := (i.hi - i.lo) / 20
	f.lo, f.hi = i.lo-margin, i.hi+margin
}

func (f *frame) y(v float64) float64 {
	return f.top + (f.hi-v)/(f.hi-f.lo)*(f.h-f.top-f.bottom)
}

func (f *frame) x(t time.Time) float64 {
	c := f.chart
	part := float64(t.Sub(c.from)) / float64(c.to.Sub(c.from))
	return f.left + min(max(part, 0), 1)*(f.w-f.left-f.right)
}

func (f *frame) line(class string, x1, y1, x2, y2 float64) {
	fmt.Fprintf(&f.b, `<line class="%s" x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f"/>`, class, x1, y1, x2, y2)
}

func (f *frame) text(class, anchor string, x, y float64, s string) {
	fmt.Fprintf(&f.b, `<text class="%s" text-anchor="%s" x="%.1f" y="%.1f">%s</text>`, class, anchor, x, y, html.EscapeString(s))
}

func (f *frame) grid() {
	end, floor, strip := f.w-f.right, f.h-f.bottom, f.strip()
	for _, v := range steps(interval{f.lo, f.hi}, 6) {
		f.line("grid", f.left, f.y(v), end, f.y(v))
		f.text("tick", "end", f.left-5, f.y(v)+4, f.chart.mark(v))
	}
	for i, t := range hourMarks(f.chart.from, f.chart.to, f.chart.loc, f.hours) {
		if f.days > 1 && i%f.days > 0 {
			continue
		}
		x := f.x(t)
		f.line("grid", x, f.top, x, floor+strip)
		f.text("tick", "middle", x, floor+strip+14, t.Format("15:04"))
		if t.Hour() == 0 {
			f.text("tick", "middle", x, floor+strip+28, t.Format("Mon 2 Jan"))
		}
	}
	f.line("base", f.left, floor, end, floor)
	if strip > 0 {
		f.line("base", f.left, floor+strip, end, floor+strip)
	}
}

// mark names a step of the y axis; there is no room for a long unit.
func (c *chart) mark(v float64) string {
	if utf8.RuneCountInString(c.unit) > 2 {
		return fmt.Sprintf("%.4g", v)
	}
	return fmt.Sprintf("%.4g %s", v, cmp.Or(c.unit, "%"))
}

// strip gives the height of the strip of shots with its edge.
func (f *frame) strip() float64 {
	if f.chart.bare {
		return 0
	}
	return track + 4
}

// drawLevels writes the names at the right, moved apart so that none covers another.
func (f *frame) drawLevels() {
	ls := slices.Clone(f.chart.levels)
	slices.SortStableFunc(ls, func(a, b level) int { return int(1000 * (b.at - a.at)) })
	last := -1e9
	for _, l := range ls {
		y := f.y(l.at)
		f.line("level "+l.class, f.left, y, f.w-f.right, y)
		at := max(y+4, last+14)
		last = at
		name := l.name
		if f.narrow {
			name = l.short
		}
		f.text("label "+l.class, "start", f.w-f.right+5, at, fmt.Sprintf("%s %.4g %s", name, l.at, cmp.Or(f.chart.unit, "%")))
	}
}

func (f *frame) drawLine() {
	most := cmp.Or(f.most, 360)
	slice := f.chart.to.Sub(f.chart.from) / time.Duration(most)
	parts := stretchesOver(thin(f.chart.points, f.chart.from, f.chart.to, most), max(gapAfter, 2*slice))
	if len(parts) == 0 {
		f.text("empty", "middle", (f.left+f.w-f.right)/2, f.h-f.bottom-8, "no estimate in this time")
	}
	for _, part := range parts {
		if len(part) == 1 {
			fmt.Fprintf(&f.b, `<circle class="dot" cx="%.1f" cy="%.1f" r="2"/>`, f.x(part[0].At), f.y(part[0].Value))
			continue
		}
		f.b.WriteString(`<polyline class="curve" points="`)
		for i, p := range part {
			if i > 0 {
				f.b.WriteByte(' ')
			}
			fmt.Fprintf(&f.b, "%.1f,%.1f", f.x(p.At), f.y(p.Value))
		}
		f.b.WriteString(`"/>`)
	}
}

// drawShots marks each shot in the strip under the plot, at least 2 wide.
func (f *frame) drawShots() {
	for _, s := range f.chart.shots {
		end := s.End
		if end.IsZero() {
			end = f.chart.to
		}
		x1, x2 := f.x(s.Start), f.x(end)
		fmt.Fprintf(&f.b, `<rect class="shot" x="%.1f" y="%.1f" width="%.1f" height="%d"><title>%s</title></rect>`,
			x1, f.h-f.bottom+3, max(x2-x1, 2), track-2, html.EscapeString(f.chart.write.shot(&s)))
	}
}

// shot tells one shot in words.
func (w writing) shot(s *Shot) string {
	text := w.clock(s.Start)
	if s.End.IsZero() {
		text += ", open now"
	} else {
		text += ", " + span(s.End.Sub(s.Start))
	}
	if s.Litres > 0 {
		text += ", " + w.litres(s.Litres)
	}
	if s.Opened != "" {
		text += " (" + string(s.Opened) + ")"
	}
	return text
}
