package wiring

import "fmt"

// assumptions says what of a terminal the file did not give.
type assumptions struct {
	volts, draw, tails bool
}

func (t *Terminal) assumes() (a assumptions) {
	a.volts = t.Volts <= 0 && len(t.Probes) > 0
	for i := range t.Probes {
		a.draw = a.draw || t.Probes[i].DrawA <= 0 && t.DrawA <= 0
		a.tails = a.tails || t.Probes[i].TailM != 0
	}
	return a
}

// assumed gives the assumptions behind a sheet, for people.
func assumed(sheets []ControllerSheet) []string {
	var all assumptions
	probes, valves := false, false
	for i := range sheets {
		valves = valves || len(sheets[i].Valves) > 0 || sheets[i].Healthy != nil
		for j := range sheets[i].Terminals {
			t := &sheets[i].Terminals[j]
			probes = probes || len(t.Probes) > 0
			all = assumptions{all.volts || t.assumes.volts, all.draw || t.assumes.draw, all.tails || t.assumes.tails}
		}
	}
	out := []string{}
	say := func(when bool, format string, args ...any) {
		if when {
			out = append(out, fmt.Sprintf(format, args...))
		}
	}
	say(all.volts, "Probes are fed with %g V where a terminal gives no `voltage` (an SDI-12 line has 9.6 V to 16 V).", AssumedVolts)
	say(all.draw, "A probe draws %s while it measures where no `draw` is given, and all draw at once (%s; see the probe's own sheet).", milliamps(AssumedDrawA), BasisPractice)
	say(all.tails, "A probe's own cable is reckoned as %d AWG, or as its terminal's cable where that is finer (%s).", finestTailWire, BasisPractice)
	say(probes, "A probe has %d conductors: supply, ground, data (%s).", ProbeWires, BasisSDI12)
	say(probes || valves, "Conductors are stranded copper at 20 °C and 75 °C (ASTM B258, IEC 60028, NEC chapter 9 table 8; metric sizes IEC 60228 class 5).")
	say(valves, "A valve's drop is its current times the resistance there and back, as if it were direct current: the worst case. %.0f %% may be lost at inrush (%s).", AllowedDrop*100, BasisPractice)
	say(valves, "A transformer should give a quarter more than it needs (%s).", BasisPractice)
	return out
}
