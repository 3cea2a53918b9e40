package wiring

import "fmt"

// healthyID names the output that is held while all is well, as commands do.
const healthyID = "healthy"

// HealthyRun is the wire to the relay of the output that is held while all is well.
type HealthyRun struct {
	Label  string `json:"label"` // of its cable
	Output int    `json:"output"`
	Drives string `json:"drives,omitempty"`
	CoilRun
}

// coil is its relay as a valve's coil: the same two wires, reckoned alike.
func (h *Healthy) coil() *Valve {
	return &Valve{ID: healthyID, Output: h.Output, LengthM: h.LengthM, Wire: h.Wire, Holding: h.Holding, Inrush: h.Inrush}
}

func (h *Healthy) run(c *Controller) *HealthyRun {
	return &HealthyRun{Label: h.piece(c.ID).Label, Output: h.Output, Drives: h.Drives, CoilRun: h.coil().run(c.Volts).CoilRun}
}

func (h *Healthy) piece(controller string) Piece {
	return Piece{Label: fmt.Sprintf("%s/H%d", controller, h.Output), Cable: h.Wire.String() + ", 2 wires",
		From: fmt.Sprintf("%s output %d", controller, h.Output), To: "relay of the healthy output", M: length(h.LengthM)}
}

// supply names what feeds the controller's outputs: "24 V a.c.".
func (c *Controller) supply() string {
	if c.Volts <= 0 {
		return "for the outputs' voltage"
	}
	s := decimals(c.Volts, 1) + " V"
	switch c.Kind {
	case "ac":
		return s + " a.c."
	case "dc":
		return s + " d.c."
	}
	return s
}

// HealthyHead names the cells of HealthyRun.Cells; ohms and drops are at 20 °C and 75 °C.
func HealthyHead() []string {
	return []string{"Output", "Cable", "Drives", "Wire", "Length", "Loop", "Drop held", "Drop at inrush", "Longest run"}
}

// Cells gives the row under HealthyHead. What is not known is "-".
func (h *HealthyRun) Cells(us bool) []string {
	return []string{fmt.Sprint(h.Output), h.Label, dash(h.Drives), dash(h.Wire), lengthOrDash(h.LengthM, us), both(h.Cool.LoopOhms, h.Hot.LoopOhms, "ohm"),
		both(h.Cool.HoldingDrop, h.Hot.HoldingDrop, "V"), both(h.Cool.InrushDrop, h.Hot.InrushDrop, "V"), lengthOrDash(h.Longest, us)}
}

// ValveCells gives the row under ValveHead, among those of valves.
func (h *HealthyRun) ValveCells(us bool) []string {
	cells := h.Cells(us)
	cells[1], cells[2] = healthyID, h.Label
	return cells
}

// Steps says how it is wired so that whatever fails sounds the horn.
func (h *HealthyRun) Steps() []string {
	return []string{
		fmt.Sprintf("Output %d holds the relay's coil while all is well and lets it drop for an alarm. Whatever dies lets it drop too: the program, the box, the broker, a cable, the controller, its supply.", h.Output),
		"A horn or lamp goes to the contact that is closed while the relay has dropped (NC): dropped, it sounds.",
		"A dialler or alarm panel that watches a closed loop goes to the contact that is closed while the relay is held (NO): a loop that opens, or is cut, is the alarm.",
		"What sounds has a supply of its own, with a battery: on the controller's it is silent when that fails.",
		"No valve, pump or lamp hangs on this output, and no switch bridges it: to silence it, acknowledge the alarm.",
	}
}
