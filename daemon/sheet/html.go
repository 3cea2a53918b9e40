package sheet

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"
	"unicode/utf8"

	"rillgate/zones/wiring"
)

//go:embed sheet.html
var sheetText string

//go:embed style.css
var styleText string

// Head is what the sheet says of its origin.
type Head struct {
	Plan string // hash of the configuration
	Date string // as it shall stand on the sheet; "" = none
}

// HTML writes the whole document.
func HTML(w io.Writer, s wiring.Sheet, head Head) error {
	return write(w, "document", s, head)
}

// Body writes the pages alone, for a document that holds more; it needs Style.
func Body(w io.Writer, s wiring.Sheet, head Head) error {
	return write(w, "pages", s, head)
}

func write(w io.Writer, part string, s wiring.Sheet, head Head) error {
	t, err := template.New("sheet").Funcs(template.FuncMap{"code": codeMarks, "long": long}).Parse(sheetText)
	if err != nil {
		return fmt.Errorf("read template: %w", err)
	}
	if err := t.ExecuteTemplate(w, part, newDocument(&s, head)); err != nil {
		return fmt.Errorf("write sheet: %w", err)
	}
	return nil
}

// long says that a cell may be broken over lines, so that no name widens its table.
func long(cell string) bool { return utf8.RuneCountInString(cell) > 22 }

// codeMarks sets what stands between backquotes as code.
func codeMarks(s string) template.HTML {
	var b strings.Builder
	for i, part := range strings.Split(s, "`") {
		if i%2 == 1 {
			b.WriteString("<code>" + template.HTMLEscapeString(part) + "</code>")
		} else {
			b.WriteString(template.HTMLEscapeString(part))
		}
	}
	return template.HTML(b.String())
}

// Style gives the style sheet that Body needs.
func Style() string { return styleText + drawingStyle }

// document is what the template shows.
type document struct {
	Room, Name  string
	Head        Head
	Style       template.CSS
	Controllers []controllerPage
	Alone       bool // one controller: the room's lists would repeat its own
	Cables      []cable
	Parts       []wiring.Part
	Findings    []wiring.Finding // of the room, and of controllers whose page is full
	Assumptions []string
	Labels      []labelGroup
	Loops       []loop
}

// loop is how the output that is held while all is well is wired.
type loop struct {
	Controller string
	Drawing    template.HTML
	Steps      []string
}

type controllerPage struct {
	ID          string
	Dense       bool
	Drawings    []template.HTML
	Columns     int
	Valves      grid
	Healthy     bool // its relay is among the valves' rows
	Transformer string
	Terminals   grid
	Cables      []cable
	Parts       []wiring.Part
	Findings    []wiring.Finding
	Elsewhere   int // findings on the room's page
}

// grid is a table whose rows begin with what they are about.
type grid struct {
	Head []string
	Rows [][]string
}

// cable is one kind of cable, with what to cut of it.
type cable struct {
	Total string
	Cuts  []cut
}

type cut struct {
	Count  int
	Length string
	Labels string
}

func newDocument(s *wiring.Sheet, head Head) document {
	d := document{Room: s.Room, Name: s.Name, Head: head, Style: template.CSS(Style()), // ours, embedded
		Alone: len(s.Controllers) == 1, Cables: cables(s, s.Cuts, s.Totals, ""), Parts: s.Parts, Assumptions: s.Assumptions, Labels: labels(s)}
	for i := range s.Controllers {
		p := newControllerPage(s, &s.Controllers[i])
		if h := s.Controllers[i].Healthy; h != nil {
			d.Loops = append(d.Loops, loop{p.ID, loopFigure(p.ID, h, s.US), h.Steps()})
		}
		if p.Dense && len(p.Findings) > 0 {
			for _, f := range p.Findings {
				f.Subject = f.Where()
				d.Findings = append(d.Findings, f)
			}
			p.Elsewhere, p.Findings = len(p.Findings), nil
		}
		d.Controllers = append(d.Controllers, p)
	}
	d.Findings = append(d.Findings, about(s.Findings, "")...)
	return d
}

// roomy is how many rows of all kinds a page holds before it is set smaller and its
// findings go to the room's page.
const roomy = 22

func newControllerPage(s *wiring.Sheet, c *wiring.ControllerSheet) controllerPage {
	p := controllerPage{ID: c.ID, Columns: max(3, min(4, len(c.Terminals))), Transformer: sentence(c.Transformer.String()), Terminals: grid{Head: wiring.TerminalHead()}, Valves: grid{Head: wiring.ValveHead()},
		Cables: cables(s, c.Cuts, c.Totals, c.ID), Parts: c.Parts, Findings: about(s.Findings, c.ID)}
	tallest := 0
	for i := range c.Terminals {
		t := &c.Terminals[i]
		tallest = max(tallest, len(t.Probes))
		p.Drawings = append(p.Drawings, figure(c.ID, t, s.US))
		p.Terminals.Rows = append(p.Terminals.Rows, t.Cells(s.US))
	}
	for i := range c.Valves {
		p.Valves.Rows = append(p.Valves.Rows, c.Valves[i].Cells(s.US))
	}
	if h := c.Healthy; h != nil {
		p.Healthy = true
		p.Valves.Rows = append(p.Valves.Rows, h.ValveCells(s.US))
	}
	p.Dense = 2*tallest+len(p.Terminals.Rows)+len(p.Valves.Rows)+2*len(p.Findings) > roomy
	return p
}

// figure is a terminal's drawing as an element of a page.
func figure(controller string, t *wiring.TerminalSheet, us bool) template.HTML {
	svg, height := drawTerminal(controller, t, us)
	return inPage(svg, height, fmt.Sprintf("%s/%d: %s", controller, t.Number, t.Title()))
}

// loopFigure is the drawing of the healthy output as an element of a page.
func loopFigure(controller string, h *wiring.HealthyRun, us bool) template.HTML {
	svg, height := drawLoop(controller, h, us)
	return inPage(svg, height, fmt.Sprintf("healthy output %s: %s", h.Label, h.Drives))
}

func inPage(svg string, height int, name string) template.HTML {
	title := escaped(name)
	return template.HTML(fmt.Sprintf(`<svg viewBox="0 0 %d %d" role="img" aria-label="%s">%s</svg>`, drawingWidth, height, title, svg)) // text in it is escaped
}

// cables groups the cuts by cable. The labels of the pieces stand on the page of
// their controller, without its name; the room's page is for buying.
func cables(s *wiring.Sheet, cuts []wiring.Cut, totals []wiring.Total, controller string) (out []cable) {
	for _, t := range totals {
		of := cable{Total: sentence(t.Words(s.US))}
		for _, c := range cuts {
			if c.Cable != t.Cable {
				continue
			}
			var names []string
			for _, l := range c.Labels {
				if controller != "" {
					names = append(names, strings.TrimPrefix(l, controller+"/"))
				}
			}
			of.Cuts = append(of.Cuts, cut{c.Count, c.M.Length(s.US), strings.Join(names, ", ")})
		}
		out = append(out, of)
	}
	return out
}

// about gives the findings of a controller, or of the room as a whole.
func about(all []wiring.Finding, controller string) (out []wiring.Finding) {
	for _, f := range all {
		if f.Controller == controller {
			f.Text, f.Do = sentence(f.Text), sentence(f.Do)
			out = append(out, f)
		}
	}
	return out
}
