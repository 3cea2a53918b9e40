package preview

import (
	_ "embed"
	"fmt"
	"html"
	"html/template"
	"io"
	"strings"
	"unicode/utf8"

	"rillgate/daemon/page"
)

//go:embed preview.html
var documentText string

//go:embed drawing.css
var drawingStyle string

// picture is the chart of one zone.
func (r *Result) picture(z *Zone) *page.Picture {
	p := &page.Picture{Title: "Moisture of " + z.Name + " in the simulation. " + r.caption(z), From: r.From, To: r.To,
		Location: r.From.Location(), US: r.us, Levels: z.lines()}
	for i := range z.Points {
		p.Points = append(p.Points, page.Point{At: z.Points[i].At, Value: z.Points[i].Percent, Known: z.Points[i].Known})
	}
	for i := range z.Shots {
		s := &z.Shots[i]
		p.Shots = append(p.Shots, page.Shot{Start: s.Start, End: s.End, Opened: s.Opened, Closed: s.Closed, Litres: s.Litres})
	}
	return p
}

// lines are the levels of the zone's windows, each once, and its highest.
func (z *Zone) lines() (all []page.Level) {
	seen := map[page.Level]bool{}
	add := func(x *float64, name, short, class string) {
		if x == nil {
			return
		}
		l := page.Level{Name: name, Short: short, Class: class, Percent: *x}
		if !seen[l] {
			seen[l] = true
			all = append(all, l)
		}
	}
	for _, l := range z.Levels {
		add(l.Below, "below", "below", "below")
		add(l.StopAt, "stop at", "stop", "stop")
	}
	add(z.Most, "highest", "max", "max")
	return all
}

// caption says in words what the picture shows.
func (r *Result) caption(z *Zone) string {
	text := "No moisture"
	if z.Known {
		text = fmt.Sprintf("%.1f to %.1f %%, dry-back of %.1f points at most", z.Lowest, z.Highest, z.DryBack)
	}
	text += fmt.Sprintf("; shots: %d", len(z.Shots))
	if z.Litres != nil {
		text += fmt.Sprintf(", %s %s", r.volume(z.Litres), strings.ToLower(r.unit()))
	}
	return text + "."
}

// Sizes of the drawing.
const (
	edge       = 24
	lineHeight = 20
	across     = 105 // letters on a line
)

// wrapped breaks a sentence into lines of at most so many letters, between words.
func wrapped(s string, most int) (lines []string) {
	line := ""
	for _, word := range strings.Fields(s) {
		if line != "" && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > most {
			lines = append(lines, line)
			line = ""
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	return append(lines, line)
}

// SVG draws every zone under the other, with what it rests on: it can be shown alone.
func (r *Result) SVG(out io.Writer) error {
	var b strings.Builder
	y := edge + 8
	text := func(class, s string) {
		for _, line := range wrapped(s, across) {
			fmt.Fprintf(&b, "<text class=\"%s\" x=\"%d\" y=\"%d\">%s</text>\n", class, edge, y, html.EscapeString(line))
			y += lineHeight
		}
	}
	text("title", r.heading())
	text("words", r.span())
	for i := range r.Zones {
		z := &r.Zones[i]
		y += lineHeight
		text("heading", z.Name)
		text("words", r.caption(z))
		fmt.Fprintf(&b, "<svg x=\"%d\" y=\"%d\" width=\"%d\" height=\"%d\">%s</svg>\n", edge, y-lineHeight/2, page.PictureWidth, page.PictureHeight, r.picture(z).Wide())
		y += page.PictureHeight + lineHeight
		for _, s := range z.basisLines() {
			text("words", s)
		}
	}
	y += lineHeight
	for _, s := range append(r.Findings(), r.Notes...) {
		text("words", s)
	}
	width, height := page.PictureWidth+2*edge, y+edge
	_, err := fmt.Fprintf(out, "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %d %d\" width=\"%d\" height=\"%d\" role=\"img\" aria-label=\"%s\">\n<style>%s</style>\n<rect class=\"ground\" width=\"100%%\" height=\"100%%\"/>\n%s</svg>\n",
		width, height, width, height, html.EscapeString(r.heading()), drawingStyle, b.String())
	if err != nil {
		return fmt.Errorf("write drawing: %w", err)
	}
	return nil
}

func (r *Result) heading() string { return "Preview of the schedule of " + r.Name }

func (r *Result) span() string {
	const face = "Mon 2 Jan 2006 15:04 MST"
	return fmt.Sprintf("Simulated from %s to %s, plan %s", r.From.Format(face), r.To.Format(face), r.Plan)
}

// basisLines are what a bed is simulated with, in sentences.
func (z *Zone) basisLines() (lines []string) {
	for _, b := range z.Basis {
		lines = append(lines, fmt.Sprintf("%s: %s (%s)", b.What, b.Value, b.From))
	}
	return lines
}

// document is what the template shows.
type document struct {
	Title, Span     string
	Style           template.CSS
	Zones, Days     table
	Findings, Notes []string
	Beds            []bedPart
}

// table has rows that begin with what they are about.
type table struct {
	Head []string
	Rows [][]string
}

type bedPart struct {
	Name, Caption string
	Wide, Narrow  template.HTML
	Basis         []Basis
	Shots         []string
}

// HTML writes a document that needs nothing else to be shown.
func (r *Result) HTML(out io.Writer) error {
	t, err := template.New("preview").Parse(documentText)
	if err != nil {
		return fmt.Errorf("read template: %w", err)
	}
	zoneRows, dayRows := r.zoneRows(), r.dayRows()
	d := document{Title: r.heading(), Span: r.span(), Style: page.Style(), Zones: table{zoneRows[0], zoneRows[1:]}, Days: table{dayRows[0], dayRows[1:]},
		Findings: r.Findings(), Notes: r.Notes}
	for i := range r.Zones {
		z := &r.Zones[i]
		p := r.picture(z)
		d.Beds = append(d.Beds, bedPart{Name: z.Name, Caption: r.caption(z), Wide: p.Wide(), Narrow: p.Narrow(), Basis: z.Basis, Shots: r.shotLines(z)})
	}
	if err := t.Execute(out, d); err != nil {
		return fmt.Errorf("write document: %w", err)
	}
	return nil
}

func (r *Result) shotLines(z *Zone) (lines []string) {
	for i := range z.Shots {
		s := &z.Shots[i]
		line := fmt.Sprintf("%s, %.0f s", s.Start.Format("Mon 2 Jan 15:04"), s.Seconds)
		if z.Litres != nil {
			line += fmt.Sprintf(", %s %s", r.volume(&s.Litres), strings.ToLower(r.unit()))
		}
		if s.Window != "" {
			line += ", " + s.Window
		}
		lines = append(lines, line+": "+string(s.Opened))
	}
	return lines
}
