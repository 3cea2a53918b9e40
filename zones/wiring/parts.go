package wiring

import (
	"cmp"
	"fmt"
	"slices"
)

// Piece is one piece of cable to cut, with what to write on its two ends.
type Piece struct {
	Label string `json:"label"` // "north/1/W1"
	Cable string `json:"cable"` // "22 AWG, 3 wires"
	From  string `json:"from"`
	To    string `json:"to"`
	M     Amount `json:"length_m"`
}

// Cut is equal pieces of one cable.
type Cut struct {
	Cable  string   `json:"cable"`
	M      Amount   `json:"length_m"`
	Count  int      `json:"count"`
	Labels []string `json:"labels"`
}

// Total is all of one cable; Unknown pieces lack a length and are not in it.
type Total struct {
	Cable   string  `json:"cable"`
	M       float64 `json:"length_m"`
	Pieces  int     `json:"pieces"`
	Unknown int     `json:"pieces_without_length,omitempty"`
}

// Part is something to buy, with how many.
type Part struct {
	Kind  string `json:"kind"`
	Count int    `json:"count"`
}

// Box is one junction box, with the cables that enter it.
type Box struct {
	Label   string   `json:"label"`
	Entries int      `json:"entries"`
	Probes  []string `json:"probes"`
}

// pieces gives what to cut for a terminal: home run and leads, not the probes' own
// cables, which come with them.
func (b *build) pieces(t *Terminal, controller string) []Piece {
	out := []Piece{}
	for _, s := range b.segments {
		if v, known := s.m.Value(); s.tail || known && v == 0 {
			continue
		}
		out = append(out, Piece{Label: fmt.Sprintf("%s/%d/W%d", controller, t.Number, len(out)+1), Cable: probeCable(s.wire), From: s.from, To: s.to, M: s.m})
	}
	return out
}

func probeCable(w Wire) string { return fmt.Sprintf("%s, %d wires", w, ProbeWires) }

func (v *Valve) piece(controller string) Piece {
	return Piece{Label: fmt.Sprintf("%s/V%d", controller, v.Output), Cable: v.Wire.String() + ", 2 wires",
		From: fmt.Sprintf("%s output %d", controller, v.Output), To: v.ID, M: length(v.LengthM)}
}

// boxList gives the boxes of a terminal. Every cable that ends or begins at a box
// enters it.
func (b *build) boxList(t *Terminal, controller string) []Box {
	out := make([]Box, b.boxes)
	for i := range out {
		out[i].Label, out[i].Probes = BoxLabel(controller, t.Number, i+1), []string{}
		for _, s := range b.segments {
			if v, known := s.m.Value(); known && v == 0 && s.tail {
				continue
			}
			out[i].Entries += boolInt(s.from == out[i].Label) + boolInt(s.to == out[i].Label)
		}
	}
	for i := range t.Probes {
		box := &out[b.boxOf[i]-1]
		box.Probes = append(box.Probes, t.Probes[i].ID)
	}
	return out
}

// cuts puts equal pieces together, longest first within a cable.
func cuts(pieces []Piece) []Cut {
	out := []Cut{}
	for _, p := range pieces {
		i := slices.IndexFunc(out, func(c Cut) bool { return c.Cable == p.Cable && c.M == p.M })
		if i < 0 {
			i = len(out)
			out = append(out, Cut{Cable: p.Cable, M: p.M})
		}
		out[i].Count++
		out[i].Labels = append(out[i].Labels, p.Label)
	}
	slices.SortStableFunc(out, func(a, b Cut) int { return cmp.Or(cmp.Compare(a.Cable, b.Cable), cmp.Compare(b.M.value, a.M.value)) })
	return out
}

func totals(pieces []Piece) []Total {
	out := []Total{}
	for _, p := range pieces {
		i := slices.IndexFunc(out, func(t Total) bool { return t.Cable == p.Cable })
		if i < 0 {
			i = len(out)
			out = append(out, Total{Cable: p.Cable})
		}
		out[i].Pieces++
		if m, known := p.M.Value(); known {
			out[i].M += m
		} else {
			out[i].Unknown++
		}
	}
	slices.SortFunc(out, func(a, b Total) int { return cmp.Compare(a.Cable, b.Cable) })
	return out
}

// counter counts parts by kind.
type counter struct{ parts []Part }

func (n *counter) add(count int, format string, args ...any) {
	kind := fmt.Sprintf(format, args...)
	i := slices.IndexFunc(n.parts, func(p Part) bool { return p.Kind == kind })
	switch {
	case count == 0:
	case i < 0:
		n.parts = append(n.parts, Part{kind, count})
	default:
		n.parts[i].Count += count
	}
}

// addTerminal counts boxes and connectors: in a box each of the three conductors is
// joined once, over all cables that enter.
func (n *counter) addTerminal(t *TerminalSheet) {
	for _, b := range t.Boxes {
		n.add(1, "junction box, %s", counted(b.Entries, "cable entry", "cable entries"))
	}
	for _, b := range t.Boxes {
		n.add(ProbeWires, "joint of %d wires", b.Entries)
	}
	n.add(t.inline, "joint box at a lead's end, 2 cable entries")
	n.add(t.inline*ProbeWires, "joint of 2 wires")
	n.add(boolInt(len(t.Probes) > 0), "plug or block of %d ways for a terminal", ProbeWires)
}

func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func sortParts(parts []Part) []Part {
	sorted := append([]Part{}, parts...)
	slices.SortStableFunc(sorted, func(a, b Part) int { return cmp.Compare(a.Kind, b.Kind) })
	return sorted
}
