package configs

import "math"

// HouseRules are the house's own rules of wiring: common practice, no source.
type HouseRules struct {
	ProbesPerTerminal int
	FarthestProbeM    float64
	CanopyPerProbeM2  float64
}

// rules gives the rules, with 10 probes, 175 ft and 100 sqft where the file is silent.
func (h rawHouse) rules() HouseRules {
	return HouseRules{h.perTerminal.or(10), h.farthest.or(53.34), h.canopy.or(9.290304)}
}

// Wiring is what the installer wrote of cables, for the install sheet.
type Wiring struct {
	Terminals []TerminalRun
	Valves    []ValveRun
}

// TerminalRun is the cable of one terminal. Lengths in m; negative = not given.
type TerminalRun struct {
	Controller string
	Number     int
	Star       bool
	HomeRunM   float64
	Cable      Wire
	Probes     []ProbeRun
}

// ProbeRun is the cable of one probe; RunM is the whole way to the controller,
// negative when a part of it is not given.
type ProbeRun struct {
	ID                 string
	LeadM, TailM, RunM float64
}

// ValveRun is the wire of one valve.
type ValveRun struct {
	ID      string
	LengthM float64
	Wire    Wire
}

// Wire is a wire's size as written; MM2 is its cross-section, 0 = not given.
type Wire struct {
	Size string
	MM2  float64
}

// notGiven stands for a length that the file does not give.
const notGiven = -1.0

// wire gives a size. A gauge n has the diameter 0.127 mm x 92^((36-n)/39) (ASTM B258).
func wire(i item[measured]) Wire {
	if !i.ok {
		return Wire{}
	}
	if i.v.dim == crossSection {
		return Wire{i.text, i.v.float()}
	}
	d := 0.127 * math.Pow(92, (36-i.v.float())/39)
	return Wire{i.text, math.Pi / 4 * d * d}
}

func (r *rawRoom) wiring() (w Wiring) {
	for i := range r.controllers {
		c := &r.controllers[i]
		for j := range c.terminals {
			w.Terminals = append(w.Terminals, c.terminals[j].run(c.id.v))
		}
	}
	for _, v := range r.valves {
		w.Valves = append(w.Valves, ValveRun{v.id.v, v.length.or(notGiven), wire(v.wire)})
	}
	return w
}

// run reckons each probe's way to the controller. Chain: the home run, the leads of
// all boxes up to its own, its tail. Star: the home run, its lead, its tail.
func (t *rawTerminal) run(controller string) TerminalRun {
	out := TerminalRun{Controller: controller, Number: t.number.v, Star: t.layout.v == "star", HomeRunM: t.homeRun.or(notGiven), Cable: wire(t.cable)}
	toBox, known := out.HomeRunM, out.HomeRunM >= 0
	for _, p := range t.probes {
		run := ProbeRun{ID: p.id.v, LeadM: p.lead.or(notGiven), TailM: p.tail.or(notGiven), RunM: notGiven}
		if run.LeadM < 0 {
			known = known && out.Star
		} else if !out.Star {
			toBox += run.LeadM
		}
		switch {
		case !known || run.TailM < 0 || run.LeadM < 0:
		case out.Star:
			run.RunM = toBox + run.LeadM + run.TailM
		default:
			run.RunM = toBox + run.TailM
		}
		out.Probes = append(out.Probes, run)
	}
	return out
}
