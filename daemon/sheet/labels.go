package sheet

import (
	"fmt"

	"rillgate/zones/wiring"
)

// labelGroup is labels of one kind, to cut out.
type labelGroup struct {
	Title  string
	Labels []label
}

// label is one label: what is read from afar, then what it is.
type label struct {
	Big   string
	Lines []string
}

func labels(s *wiring.Sheet) (out []labelGroup) {
	var probes, boxes, valves, others, cables []label
	for i := range s.Controllers {
		c := &s.Controllers[i]
		for j := range c.Terminals {
			t := &c.Terminals[j]
			for k := range t.Probes {
				probes = append(probes, probeLabel(c.ID, t.Number, &t.Probes[k]))
			}
			for _, b := range t.Boxes {
				boxes = append(boxes, label{b.Label, []string{fmt.Sprintf("terminal %d, box", t.Number)}})
			}
		}
		for j := range c.Valves {
			valves = append(valves, valveLabel(c.ID, &c.Valves[j]))
		}
		if h := c.Healthy; h != nil {
			others = append(others, label{"HEALTHY", []string{fmt.Sprintf("%s output %d, relay", c.ID, h.Output), "held while all is well: no switch here", h.Drives}})
		}
		for _, p := range c.Pieces {
			end := label{p.Label, []string{p.From + " to " + p.To, p.Cable + ", " + p.M.Length(s.US)}}
			cables = append(cables, end, end)
		}
	}
	for _, g := range []labelGroup{{"Probe labels", probes}, {"Box labels", boxes}, {"Valve labels", valves}, {"Healthy output", others}, {"Cable labels, one for each end", cables}} {
		if len(g.Labels) > 0 {
			out = append(out, g)
		}
	}
	return out
}

func probeLabel(controller string, terminal int, p *wiring.ProbeLine) label {
	lines := []string{fmt.Sprintf("%s/%d · box B%d · address %s", controller, terminal, p.Box, p.Address)}
	if p.Zone != "" {
		lines = append(lines, "zone "+p.Zone)
	}
	if p.Label != "" && p.Label != p.ID {
		lines = append(lines, p.Label)
	}
	return label{p.ID, lines}
}

func valveLabel(controller string, v *wiring.ValveRun) label {
	what := "zone " + v.Zone
	switch {
	case v.Master:
		what = "master of " + v.Supply
	case v.Zone == "":
		what = "in no zone"
	}
	return label{v.ID, []string{fmt.Sprintf("%s output %d", controller, v.Output), what + " · supply " + v.Supply}}
}
