package sheet

import (
	_ "embed"
	"fmt"
	"io"
	"strings"

	"rillgate/zones/wiring"
)

//go:embed drawing.css
var drawingStyle string

// Sizes of the whole drawing.
const (
	across     = 4
	gutter     = 24
	lineHeight = 24
	sheetWidth = across*drawingWidth + (across+1)*gutter
)

// A page lays blocks one under the other.
type page struct {
	canvas
	us bool
	y  int
}

// SVG writes the whole sheet as one drawing: it can be shown alone.
func SVG(w io.Writer, s wiring.Sheet) error {
	p := &page{us: s.US, y: 44}
	p.text("title", gutter, p.y, 28, sheetWidth-2*gutter, "Wiring of "+s.Name+" ("+s.Room+")")
	for i := range s.Controllers {
		p.controller(&s, &s.Controllers[i])
	}
	p.heading("Cut list")
	for _, c := range s.Cuts {
		p.words(fmt.Sprintf("%d x %s of %s: %s", c.Count, c.M.Length(s.US), c.Cable, strings.Join(c.Labels, ", ")))
	}
	p.heading("Boxes and connectors")
	for _, part := range s.Parts {
		p.words(fmt.Sprintf("%d x %s", part.Count, part.Kind))
	}
	p.heading("Findings")
	p.findings(s.Findings)
	p.heading("Taken for granted")
	for _, a := range s.Assumptions {
		p.words(a)
	}
	_, err := fmt.Fprintf(w, "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 %d %d\" width=\"%d\" height=\"%d\" role=\"img\" aria-label=\"%s\">\n<style>%s</style>\n<rect class=\"ground\" width=\"100%%\" height=\"100%%\"/>\n%s</svg>\n",
		sheetWidth, p.y+gutter, sheetWidth, p.y+gutter, escaped("Install sheet of "+s.Name), drawingStyle, p.b.String())
	if err != nil {
		return fmt.Errorf("write drawing: %w", err)
	}
	return nil
}

func (p *page) heading(s string) {
	p.y += lineHeight + 18
	p.text("heading", gutter, p.y, 21, sheetWidth-2*gutter, s)
}

// words writes a sentence over as many lines as it needs, each so short that it is not
// squeezed.
func (p *page) words(s string) {
	for _, line := range wrapped(s, 148) {
		p.y += lineHeight
		p.text("words", gutter, p.y, wordSize, sheetWidth-2*gutter, line)
	}
}

// wrapped breaks a sentence into lines of at most so many characters, between words.
func wrapped(s string, most int) (lines []string) {
	line := ""
	for _, word := range strings.Fields(s) {
		if line != "" && len([]rune(line))+1+len([]rune(word)) > most {
			lines = append(lines, line)
			line = "    "
		} else if line != "" {
			line += " "
		}
		line += word
	}
	return append(lines, line)
}

func (p *page) controller(s *wiring.Sheet, c *wiring.ControllerSheet) {
	p.heading("Controller " + c.ID)
	p.y += 12
	tallest := 0
	for i := range c.Terminals {
		if i > 0 && i%across == 0 {
			p.y += tallest + gutter
			tallest = 0
		}
		svg, height := drawTerminal(c.ID, &c.Terminals[i], s.US)
		p.put(`<g transform="translate(%d %d)">%s</g>`, gutter+i%across*(drawingWidth+gutter), p.y, svg)
		tallest = max(tallest, height)
	}
	p.y += tallest
	for i := range c.Terminals {
		if t := &c.Terminals[i]; len(t.Probes) > 0 {
			p.words(fmt.Sprintf("Terminal %d: %s", t.Number, strings.Join(t.Lines(s.US), "; ")))
		}
	}
	for i := range c.Valves {
		p.words(valveWords(&c.Valves[i], s.US))
	}
	if h := c.Healthy; h != nil {
		p.healthy(c.ID, h)
	}
	p.words("Transformer: " + c.Transformer.String())
}

// healthy draws the loop of the healthy output, and says how it is wired.
func (p *page) healthy(controller string, h *wiring.HealthyRun) {
	svg, height := drawLoop(controller, h, p.us)
	p.y += 12
	p.put(`<g transform="translate(%d %d)">%s</g>`, gutter, p.y, svg)
	p.y += height
	cells := h.Cells(p.us)
	p.words(fmt.Sprintf("Output %d: healthy output, drives %s, %s of %s; loop %s, drop held %s, at inrush %s (20 °C / 75 °C); longest run %s",
		h.Output, cells[2], cells[4], cells[3], cells[5], cells[6], cells[7], cells[8]))
	for _, step := range h.Steps() {
		p.words(step)
	}
}

// valveWords says a valve's run in one sentence.
func valveWords(v *wiring.ValveRun, us bool) string {
	cells := v.Cells(us)
	return fmt.Sprintf("Output %d: valve %s (%s), %s of %s; loop %s, drop held %s, at inrush %s (20 °C / 75 °C); longest run %s",
		v.Output, cells[1], cells[2], cells[4], cells[3], cells[5], cells[6], cells[7], cells[8])
}

func (p *page) findings(fs []wiring.Finding) {
	if len(fs) == 0 {
		p.words("None.")
	}
	for _, f := range fs {
		p.words(fmt.Sprintf("%s: %s: %s. %s. (%s)", f.Kind(), f.Where(), f.Text, sentence(f.Do), f.Basis))
	}
}

// sentence begins with a capital letter.
func sentence(s string) string {
	if s == "" || strings.HasPrefix(s, "`") {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
