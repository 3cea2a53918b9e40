package handover

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"rillgate/daemon/report"
	"rillgate/daemon/sheet"
	"rillgate/zones"
)

//go:embed handover.html
var documentText string

//go:embed handover.css
var ownStyle string

// shownCard is a card in words.
type shownCard struct {
	Zone, Name, Valves, Master, Basis, Total, Never, Blind string
	Lived                                                  bool
	Shots                                                  []shownShots
}

type shownShots struct{ Count, Length, Times, Each, Asks string }

func (w writing) cards(all []Card) (out []shownCard) {
	for i := range all {
		c := &all[i]
		s := shownCard{Zone: c.Zone, Name: c.Name, Valves: strings.Join(c.Valves, ", "), Master: c.Master, Basis: c.Basis, Blind: c.Blind, Lived: c.Lived,
			Never: fmt.Sprintf("%s at once, %s in 24 h; %s apart at least", span(c.MaxRun), span(c.MaxPerDay), span(c.MinRest))}
		for k := range c.Shots {
			s.Shots = append(s.Shots, w.shots(&c.Shots[k]))
		}
		if len(c.Shots) > 0 {
			s.Total = w.total(c)
		}
		out = append(out, s)
	}
	return out
}

func (w writing) shots(s *Shots) shownShots {
	out := shownShots{Count: fmt.Sprint(s.Count), Length: span(s.Length), Times: w.times(s), Asks: s.Asks, Each: w.volume(s.Litres)}
	if s.AtMost {
		out.Count = "up to " + out.Count
	}
	return out
}

func (w writing) total(c *Card) string {
	text := w.volume(c.Litres)
	if c.Litres > 0 && c.MLPlant > 0 {
		text += fmt.Sprintf(", %.0f mL a plant", c.MLPlant)
	}
	text += ", " + span(seconds(c.Seconds).Round(time.Second)) + " of water"
	if !c.Lived {
		return "at most " + text
	}
	return text
}

// page is what the template shows.
type page struct {
	*Document
	Title  string
	Style  template.CSS
	Wiring template.HTML
	Blanks []int
	Trials []string
}

// HTML writes the whole document: to print on A4 and Letter, to read on a phone, light
// or dark. It needs nothing else.
func (d *Document) HTML(out io.Writer) error {
	var pages bytes.Buffer
	if err := sheet.Body(&pages, d.survey, sheet.Head{Plan: d.Plan, Date: d.Date}); err != nil {
		return err
	}
	return d.write(out, "document", template.HTML(pages.String())) // the sheet escapes its own
}

func (d *Document) write(out io.Writer, part string, pages template.HTML) error {
	t, err := template.New("handover").Funcs(template.FuncMap{"code": codeMarks, "crowd": crowd, "sentence": sentence}).Parse(documentText)
	if err != nil {
		return fmt.Errorf("read the template of the hand-over: %w", err)
	}
	p := page{Document: d, Title: d.Name + ": " + map[string]string{"document": "hand-over", "card": "hand card"}[part], Style: template.CSS(sheet.Style() + ownStyle), Wiring: pages, Blanks: make([]int, 4), Trials: trials}
	if err := t.ExecuteTemplate(out, part, p); err != nil {
		return fmt.Errorf("write the hand-over: %w", err)
	}
	return nil
}

// crowd says how dense the cards of so many zones are set, that they keep to one page.
func crowd(zones int) string {
	switch {
	case zones > 16:
		return "many crowd throng"
	case zones > 8:
		return "many crowd"
	case zones > 4:
		return "many"
	case zones > 2:
		return ""
	}
	return "few"
}

// codeMarks sets what stands between backquotes as code.
func codeMarks(s string) template.HTML {
	var b strings.Builder
	for i, part := range strings.Split(s, "`") {
		if i%2 == 1 {
			part = "<code>" + template.HTMLEscapeString(part) + "</code>"
		} else {
			part = template.HTMLEscapeString(part)
		}
		b.WriteString(part)
	}
	return template.HTML(b.String())
}

// sentence begins with a capital.
func sentence(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}

// CardHTML writes the hand card alone, from whole days before now (nil = not known).
func CardHTML(out io.Writer, p *zones.Plan, days *report.Report, now time.Time) error {
	w := writing{loc: p.Calendar.Location, us: p.US}
	at := now.In(w.loc)
	d := &Document{Room: p.Room, Name: p.Name, Plan: p.Hash, Made: at.Format("2006-01-02 15:04"), Date: at.Format(time.DateOnly), TimeZone: w.loc.String(),
		Cards: w.cards(Deal(p, days, now))}
	return d.write(out, "card", "")
}
