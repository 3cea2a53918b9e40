package sheet

import (
	"fmt"

	"rillgate/zones/wiring"
)

// Sizes of a terminal's drawing, in its own units.
const (
	drawingWidth = 340
	rowHeight    = 62
	headHeight   = 34
	homeHeight   = 42
	emptyBox     = 44
	trunkX       = 26 // the middle of the boxes
	boxHalf      = 18
	textX        = 80
	textRoom     = drawingWidth - textX - 26
	wordSize     = 16
	idSize       = 19
)

// drawTerminal draws one terminal from the top down, as the cable runs, and gives
// the elements and their height.
func drawTerminal(controller string, t *wiring.TerminalSheet, us bool) (svg string, height int) {
	c := &canvas{}
	c.rect("port", 2, 2, drawingWidth-4, headHeight-4)
	c.text("id", 10, 24, idSize, 190, fmt.Sprintf("%s/%d", controller, t.Number))
	if len(t.Probes) == 0 {
		c.text("words end", drawingWidth-10, 24, wordSize, 120, "no probes")
		return c.b.String(), headHeight
	}
	c.text("words end", drawingWidth-10, 24, wordSize, 120, t.Layout()+" "+t.Cable)
	y := headHeight
	c.line("cable", trunkX, y, trunkX, y+homeHeight)
	c.text("words", trunkX+10, y+27, wordSize, drawingWidth-trunkX-12, "home run "+t.HomeRun.Length(us))
	y += homeHeight
	for i := range t.Boxes {
		if i > 0 {
			y = drawLead(c, t, i+1, y, us)
		}
		y = drawBox(c, t, i+1, y, us)
	}
	return c.b.String(), y + 4
}

// drawLead draws the way from the box before.
func drawLead(c *canvas, t *wiring.TerminalSheet, box, y int, us bool) int {
	const gap = 22
	lead := "lead, length not given"
	for i := range t.Probes {
		if t.Probes[i].Box == box {
			lead = "lead " + t.Probes[i].Lead.Length(us)
			break
		}
	}
	c.line("cable", trunkX, y, trunkX, y+gap)
	c.text("words", trunkX+10, y+17, wordSize, drawingWidth-trunkX-12, lead)
	return y + gap
}

// drawBox draws a box with the probes on it: a star's is as tall as all its probes.
func drawBox(c *canvas, t *wiring.TerminalSheet, box, y int, us bool) int {
	var rows []*wiring.ProbeLine
	for i := range t.Probes {
		if t.Probes[i].Box == box {
			rows = append(rows, &t.Probes[i])
		}
	}
	tall := max(len(rows)*rowHeight-8, emptyBox-8)
	c.rect("box", trunkX-boxHalf, y, 2*boxHalf, tall)
	c.text("box-id", trunkX-13, y+tall/2+7, idSize, 2*boxHalf-8, fmt.Sprintf("B%d", box))
	if len(rows) == 0 {
		c.text("words", textX, y+24, wordSize, textRoom, "joint only, no probe")
	}
	for i, p := range rows {
		drawProbe(c, p, y+i*rowHeight, us)
	}
	return y + tall
}

// drawProbe draws one probe: the way to it, what it is, a square to tick.
func drawProbe(c *canvas, p *wiring.ProbeLine, y int, us bool) {
	middle := y + (rowHeight-8)/2
	c.line("tail", trunkX+boxHalf, middle, textX-16, middle)
	if p.Apart {
		c.put(`<circle class="joint" cx="%d" cy="%d" r="4"/>`, trunkX+boxHalf+9, middle)
	}
	c.put(`<circle class="probe" cx="%d" cy="%d" r="7"/>`, textX-13, middle)
	c.rect("tick", drawingWidth-20, middle-8, 16, 16)
	c.text("id", textX, y+15, idSize, textRoom, p.ID+" · address "+p.Address)
	c.text("words", textX, y+33, wordSize, textRoom, placeWords(p))
	c.text("words", textX, y+51, wordSize, textRoom, wayWords(p, us))
}

func placeWords(p *wiring.ProbeLine) string {
	zone := "no zone yet"
	if p.Zone != "" {
		zone = "zone " + p.Zone
	}
	if p.Label == "" || p.Label == p.ID {
		return zone
	}
	return p.Label + " · " + zone
}

// wayWords gives the lengths on the way from the box, then the whole run.
func wayWords(p *wiring.ProbeLine, us bool) string {
	own := p.Tail.Length(us)
	if _, known := p.Tail.Value(); !known {
		own = "own cable not given"
	}
	if p.Apart {
		own = p.Lead.Length(us) + " + " + own
	}
	if _, known := p.Run.Value(); !known {
		return own + " · run not known"
	}
	return own + " · run " + p.Run.Length(us)
}
