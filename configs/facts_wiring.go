package configs

import "rillgate/zones/wiring"

// wiringFacts gives what was written of cables, in the room's units.
func wiringFacts(w *wiring.Room) (out []fact) {
	for i := range w.Controllers {
		c := &w.Controllers[i]
		for j := range c.Terminals {
			out = append(out, terminalFacts(c.ID, &c.Terminals[j], w.US)...)
		}
		for _, v := range c.Valves {
			subject := "valve " + v.ID
			if v.Master {
				subject = "supply " + v.Supply
			}
			out = append(out, factList(subject, "length", metres(v.LengthM, w.US), "wire", v.Wire.Size)...)
		}
		if h := c.Healthy; h != nil {
			out = append(out, factList("room", "healthy.length", metres(h.LengthM, w.US), "healthy.wire", h.Wire.Size)...)
		}
	}
	h := &w.House
	return append(out, factList("room", "house_rules.probes_per_terminal", itoa(h.ProbesPerTerminal), "house_rules.farthest_probe", metres(h.FarthestProbeM, w.US),
		"house_rules.canopy_per_probe", wiring.Area(h.CanopyPerProbeM2, w.US), "house_rules.valve_wire", h.ValveWire.Size)...)
}

func terminalFacts(controller string, t *wiring.Terminal, us bool) []fact {
	layout := "chain"
	if t.Star {
		layout = "star"
	}
	out := factList("terminal "+controller+"/"+itoa(t.Number), "layout", layout, "home_run", metres(t.HomeRunM, us), "cable", t.Cable.Size,
		"voltage", measure(t.Volts, "V"), "draw", amps(t.DrawA))
	for _, p := range t.Probes {
		out = append(out, factList("probe "+p.ID, "lead", metres(p.LeadM, us), "tail", metres(p.TailM, us), "draw", amps(p.DrawA))...)
	}
	return out
}

// metres gives a length in the room's units; nothing where it is not given.
func metres(m float64, us bool) string {
	if m < 0 {
		return ""
	}
	return wiring.Length(m, us)
}
