package wiring

import "fmt"

// TerminalHead names the cells of a terminal's row; voltages are at 20 °C and 75 °C.
func TerminalHead() []string {
	return []string{"Terminal", "Layout", "Cable", "Cable to cut", "Probes' own", "Farthest probe", "All draw", "Least voltage", "Ground drop"}
}

// Cells gives the terminal's row under TerminalHead. What is not known is "-".
func (t *TerminalSheet) Cells(us bool) []string {
	layout, farthest, lowest, draw := "no probes", "-", "-", "-"
	if len(t.Probes) > 0 {
		layout, draw = t.Layout()+" of "+fmt.Sprint(len(t.Probes)), milliamps(t.DrawA)
	}
	if run, known := t.LongestM.Value(); known && t.Farthest != "" {
		farthest = t.Farthest + ", " + Length(run, us)
	}
	if t.Lowest != "" {
		lowest = t.Lowest + ", " + both(t.Cool.ProbeVolts, t.Hot.ProbeVolts, "V")
	}
	ground := both(t.Cool.GroundDrop, t.Hot.GroundDrop, "V")
	return []string{fmt.Sprint(t.Number), layout, dash(t.Cable), lengthOrDash(t.Bought, us), lengthOrDash(t.Tails, us), farthest, draw, lowest, ground}
}

// ValveHead names the cells of a valve's row; ohms and drops are at 20 °C and 75 °C.
func ValveHead() []string {
	return []string{"Output", "Valve", "Zone", "Wire", "Length", "Loop", "Drop held", "Drop at inrush", "Longest run"}
}

// Cells gives the valve's row under ValveHead. What is not known is "-".
func (v *ValveRun) Cells(us bool) []string {
	zone := v.Zone
	if v.Master {
		zone = "master of " + v.Supply
	}
	return []string{fmt.Sprint(v.Output), v.ID, dash(zone), dash(v.Wire), lengthOrDash(v.LengthM, us), both(v.Cool.LoopOhms, v.Hot.LoopOhms, "ohm"),
		both(v.Cool.HoldingDrop, v.Hot.HoldingDrop, "V"), both(v.Cool.InrushDrop, v.Hot.InrushDrop, "V"), lengthOrDash(v.Longest, us)}
}

func both(cool, hot Amount, unit string) string {
	if !cool.known || !hot.known {
		return "-"
	}
	return fmt.Sprintf("%.2f / %.2f %s", cool.value, hot.value, unit)
}

func lengthOrDash(a Amount, us bool) string {
	if !a.known {
		return "-"
	}
	return a.Length(us)
}

func dash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}
