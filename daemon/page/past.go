package page

import (
	"cmp"
	"fmt"
	"html"
	"html/template"
	"io"
	"math"
	"strings"
	"time"

	_ "embed"
)

// Quantity is a number that history keeps of a zone or of a probe.
type Quantity string

// The quantities, in the order in which they are drawn.
const (
	Moisture    Quantity = "moisture"    // % by volume
	PoreEC      Quantity = "pore EC"     // mS/cm at 25 °C, of a zone
	BulkEC      Quantity = "bulk EC"     // mS/cm, of a probe
	Temperature Quantity = "temperature" // °C
)

// Panel is one number of a Past. Points are in the unit of their quantity; a temperature
// is drawn in °F where the Past is of a room with US units.
type Panel struct {
	Of     Quantity
	Levels []Level
	Points []Point
}

// Past is a zone's or probe's last days, a panel a number, one under the other. The
// shots are drawn under the first one.
type Past struct {
	Title, Caption string
	From, To       time.Time
	Location       *time.Location
	US             bool
	Panels         []Panel
	Shots          []Shot
}

const conductivity = "mS/cm"

//go:embed past.css
var pastStyle string

//go:embed past.html
var pastText string

// panelHeight is the height of a panel; the first one has a strip for shots in it.
const panelHeight = 190

func (p *Past) chart(n int) *chart {
	panel := &p.Panels[n]
	c := &chart{from: p.From, to: p.To, loc: p.Location, points: panel.Points, bare: n > 0, write: writing{loc: p.Location, us: p.US, now: p.From}}
	if n == 0 {
		c.shots = p.Shots
	}
	for _, l := range panel.Levels {
		c.levels = append(c.levels, level{l.Name, l.Short, l.Percent, l.Class})
	}
	switch panel.Of {
	case PoreEC, BulkEC:
		c.unit, c.least = conductivity, 1
	case Temperature:
		c.unit, c.least = "°C", 4
		if p.US {
			c.unit, c.least, c.points = "°F", 8, fahrenheit(panel.Points)
		}
	}
	c.title = fmt.Sprintf("%s: %s. %s", p.Title, panel.Of, c.extent())
	return c
}

func fahrenheit(points []Point) []Point {
	out := make([]Point, len(points))
	for i, p := range points {
		p.Value = p.Value*9/5 + 32
		out[i] = p
	}
	return out
}

// extent says in words between what a line goes.
func (c *chart) extent() string {
	i := interval{lo: math.Inf(1), hi: math.Inf(-1)}
	for _, s := range stretches(c.points) {
		for _, p := range s {
			i.include(p.Value)
		}
	}
	if i.empty() {
		return "Nothing is kept of this time."
	}
	decimals := 1
	if c.unit == conductivity {
		decimals = 2
	}
	return fmt.Sprintf("%.*f to %.*f %s.", decimals, i.lo, decimals, i.hi, cmp.Or(c.unit, "%"))
}

// heading is a panel's name as it stands over it.
func (p *Past) heading(n int) string {
	c := p.chart(n)
	name := sentenceCase(string(p.Panels[n].Of)) + ": " + c.extent()
	if n == 0 && len(p.Shots) > 0 {
		name += " Marks below: " + plural(len(p.Shots), "shot") + " of its zone."
	}
	return name
}

// height of a panel: only the first one has a strip for shots.
func (p *Past) height(n int) float64 {
	if n > 0 {
		return panelHeight - track - 4
	}
	return panelHeight
}

// axis sets the marks of time, so that about so many fit.
func (p *Past) axis(n int, f *frame, hours, dates int) *frame {
	f.h, f.top, f.bottom = p.height(n), 10, 46
	if n > 0 {
		f.bottom -= track + 4
	}
	marks := Picture{From: p.From, To: p.To}
	f.hours = marks.hours(hours)
	if f.hours == 24 {
		days := int(math.Ceil(p.To.Sub(p.From).Hours() / 24))
		f.days = (days + dates - 1) / dates
	}
	return f
}

func (p *Past) wide(n int) template.HTML {
	return p.chart(n).draw(p.axis(n, &frame{w: PictureWidth, left: 48, right: 104, most: 720}, 12, 8))
}

func (p *Past) narrow(n int) template.HTML {
	return p.chart(n).draw(p.axis(n, &frame{w: 340, left: 44, right: 84, narrow: true}, 4, 2))
}

// span says which time is shown.
func (p *Past) span() string {
	const face = "Mon 2 Jan 2006 15:04 MST"
	return p.From.In(p.Location).Format(face) + " to " + p.To.In(p.Location).Format(face)
}

// SVG draws the past so that it can be shown alone, on a light ground or a dark one.
func (p *Past) SVG(out io.Writer) error {
	const edge, line = 24, 20
	var b strings.Builder
	y := edge + 8
	text := func(class, s string) {
		fmt.Fprintf(&b, "<text class=\"%s\" x=\"%d\" y=\"%d\">%s</text>\n", class, edge, y, html.EscapeString(s))
		y += line
	}
	text("title", p.Title)
	text("words", p.span())
	if p.Caption != "" {
		text("words", p.Caption)
	}
	for n := range p.Panels {
		y += line
		text("heading", p.heading(n))
		fmt.Fprintf(&b, "<svg x=\"%d\" y=\"%d\" width=\"%d\" height=\"%g\">%s</svg>\n", edge, y-line/2, PictureWidth, p.height(n), p.wide(n))
		y += int(p.height(n))
	}
	width, height := PictureWidth+2*edge, y+edge
	_, err := fmt.Fprintf(out, "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %d %d\" width=\"%d\" height=\"%d\" role=\"img\" aria-label=\"%s\">\n<style>%s</style>\n<rect class=\"paper\" width=\"100%%\" height=\"100%%\"/>\n%s</svg>\n",
		width, height, width, height, html.EscapeString(p.Title), pastStyle, b.String())
	if err != nil {
		return fmt.Errorf("write the picture: %w", err)
	}
	return nil
}

// HTML writes the past as a document that needs nothing else, for any width of screen.
func (p *Past) HTML(out io.Writer) error {
	t, err := template.New("past").Parse(pastText)
	if err != nil {
		return fmt.Errorf("read template: %w", err)
	}
	err = t.Execute(out, map[string]any{"Title": p.Title, "Span": p.span(), "Caption": p.Caption, "Style": styleSheet(), "Panels": p.panels()})
	if err != nil {
		return fmt.Errorf("write the picture: %w", err)
	}
	return nil
}

// drawnPanel is a panel as templates show it.
type drawnPanel struct {
	Caption      string
	Wide, Narrow template.HTML
}

func (p *Past) panels() (out []drawnPanel) {
	for n := range p.Panels {
		out = append(out, drawnPanel{p.heading(n), p.wide(n), p.narrow(n)})
	}
	return out
}
