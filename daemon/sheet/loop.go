package sheet

import (
	"fmt"

	"rillgate/zones/wiring"
)

// Sizes of the drawing of the healthy output.
const (
	relayTop     = headHeight + 58
	relayWidth   = 160
	relayHeight  = 92
	contactX     = 148
	contactApart = 28
	soundLeft    = 196
	loopHeight   = relayTop + relayHeight + 58
)

// drawLoop draws the healthy output from the top down: its port, the cable, the relay
// dropped as it lies when there is no current, and what sounds then.
func drawLoop(controller string, h *wiring.HealthyRun, us bool) (svg string, height int) {
	c := &canvas{}
	c.rect("port", 2, 2, drawingWidth-4, headHeight-4)
	c.text("id", 10, 24, idSize, 180, fmt.Sprintf("%s output %d", controller, h.Output))
	c.text("words end", drawingWidth-10, 24, wordSize, 130, "healthy")
	c.line("cable", trunkX, headHeight, trunkX, relayTop)
	c.text("id", trunkX+12, headHeight+24, wordSize, 150, h.Label)
	c.text("words", trunkX+12, headHeight+44, wordSize, drawingWidth-trunkX-36, wayOf(h, us))
	c.rect("tick", drawingWidth-20, headHeight+12, 16, 16)
	drawRelay(c)
	drawSound(c, h)
	return c.b.String(), loopHeight
}

func wayOf(h *wiring.HealthyRun, us bool) string {
	wire := h.Wire
	if wire == "" {
		wire = "wire not given"
	}
	return h.LengthM.Length(us) + " of " + wire + ", 2 wires"
}

// drawRelay draws coil and contacts: the arm lies on NC, where it is without current.
func drawRelay(c *canvas) {
	y := relayTop
	c.rect("box", 8, y, relayWidth, relayHeight)
	c.text("id", 16, y+22, wordSize, 70, "relay")
	c.text("words", 16, y+42, wordSize, 70, "coil A1")
	c.text("words", 16, y+62, wordSize, 70, "and A2")
	for i, name := range []string{"NC", "COM", "NO"} {
		at := y + 20 + i*contactApart
		c.text("words end", contactX-12, at+6, wordSize, 44, name)
		c.put(`<circle class="joint" cx="%d" cy="%d" r="5"/>`, contactX, at)
	}
	c.line("cable", contactX, y+20, contactX, y+20+contactApart)
}

// drawSound draws what sounds, with its own supply, in the loop over NC and COM.
func drawSound(c *canvas, h *wiring.HealthyRun) {
	y := relayTop
	for i := range 2 {
		at := y + 20 + i*contactApart
		c.line("tail", contactX, at, soundLeft, at)
	}
	c.rect("box", soundLeft, y+4, drawingWidth-soundLeft-26, 64)
	c.text("id", soundLeft+8, y+30, wordSize, drawingWidth-soundLeft-42, "sounds")
	c.text("words", soundLeft+8, y+52, wordSize, drawingWidth-soundLeft-42, "own battery")
	c.rect("tick", drawingWidth-20, y+28, 16, 16)
	drives := h.Drives
	if drives == "" {
		drives = "what sounds is not given"
	}
	c.text("id", 10, y+relayHeight+24, wordSize, drawingWidth-20, drives)
	c.text("words", 10, y+relayHeight+46, wordSize, drawingWidth-20, "drawn without current: COM on NC, it sounds")
}
