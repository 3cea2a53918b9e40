package sheet

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"

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
	t, err := template.New("sheet").Parse(sheetText)
	if err != nil {
		return fmt.Errorf("read template: %w", err)
	}
	if err := t.ExecuteTemplate(w, "document", newDocument(&s, head)); err != nil {
		return fmt.Errorf("write sheet: %w", err)
	}
	return nil
}

// Body writes the pages alone, for a document that holds more; it needs Style.
func Body(w io.Writer, s wiring.Sheet, head Head) error {
	t, err := template.New("sheet").Parse(sheetText)
	if err != nil {
		return fmt.Errorf("read template: %w", err)
	}
	if err := t.ExecuteTemplate(w, "pages", newDocument(&s, head)); err != nil {
		return fmt.Errorf("write sheet: %w", err)
	}
	return nil
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
	Cuts        []cutRow
	Totals      []string
	Parts       []wiring.Part
	RoomFinds   []wiring.Finding
	Assumptions []string
	Labels      []labelGroup
}

type controllerPage struct {
	ID          string
	Dense       bool
	Drawings    []drawing
	Columns     int
	Valves      []valveRow
	Transformer string
	Cuts        []cutRow
	Totals      []string
	Parts       []wiring.Part
	Findings    []wiring.Finding
}

type drawing struct {
	SVG   template.HTML
	Title string
	Lines []string
}

type valveRow struct {
	Output int
	Cells  []string
}

type cutRow struct {
	Count         int
	Length, Cable string
	Labels        []string
}

func newDocument(s *wiring.Sheet, head Head) document {
	d := document{Room: s.Room, Name: s.Name, Head: head, Style: template.CSS(Style()), // ours, embedded
		Alone: len(s.Controllers) == 1, Cuts: cutRows(s.Cuts, s.US), Totals: totalWords(s.Totals, s.US), Parts: s.Parts,
		RoomFinds: about(s.Findings, ""), Assumptions: s.Assumptions, Labels: labels(s)}
	for i := range s.Controllers {
		d.Controllers = append(d.Controllers, newControllerPage(s, &s.Controllers[i]))
	}
	return d
}

// A page holds so much before it is set smaller: rows of the tallest drawing, of
// valves, of lists.
const roomyRows = 15

func newControllerPage(s *wiring.Sheet, c *wiring.ControllerSheet) controllerPage {
	p := controllerPage{ID: c.ID, Columns: max(3, min(4, len(c.Terminals))), Transformer: sentence(c.Transformer.String()),
		Cuts: cutRows(c.Cuts, s.US), Totals: totalWords(c.Totals, s.US), Parts: c.Parts, Findings: about(s.Findings, c.ID)}
	tallest := 0
	for i := range c.Terminals {
		t := &c.Terminals[i]
		tallest = max(tallest, len(t.Probes))
		d := drawing{SVG: figure(c.ID, t, s.US), Title: fmt.Sprintf("Terminal %d: %s", t.Number, t.Title())}
		if len(t.Probes) > 0 {
			d.Lines = t.Lines(s.US)
		}
		p.Drawings = append(p.Drawings, d)
	}
	for i := range c.Valves {
		p.Valves = append(p.Valves, valveRow{c.Valves[i].Output, c.Valves[i].Cells(s.US)})
	}
	p.Dense = tallest+len(p.Valves)+len(p.Findings)+len(p.Cuts)/2 > roomyRows
	return p
}

// figure is a terminal's drawing as an element of a page.
func figure(controller string, t *wiring.TerminalSheet, us bool) template.HTML {
	svg, height := drawTerminal(controller, t, us)
	title := escaped(fmt.Sprintf("%s/%d: %s", controller, t.Number, t.Title()))
	return template.HTML(fmt.Sprintf(`<svg viewBox="0 0 %d %d" role="img" aria-label="%s">%s</svg>`, drawingWidth, height, title, svg)) // text in it is escaped
}

func cutRows(cuts []wiring.Cut, us bool) (out []cutRow) {
	for _, c := range cuts {
		out = append(out, cutRow{c.Count, c.M.Length(us), c.Cable, c.Labels})
	}
	return out
}

func totalWords(totals []wiring.Total, us bool) (out []string) {
	for _, t := range totals {
		out = append(out, sentence(t.Words(us)))
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
