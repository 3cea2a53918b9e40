package walk

import (
	"fmt"

	"rillgate/zones"
)

// judge gives each valve its verdict by the whole matrix, then each zone.
func (w *Walk) judge() {
	if !w.ask.Closings {
		own := make([]Verdict, len(w.res.Valves))
		because := make([]string, len(w.res.Valves))
		for i := range w.res.Valves {
			own[i], because[i] = w.verdict(&w.res.Valves[i])
		}
		for i := range w.res.Valves {
			w.res.Valves[i].Verdict, w.res.Valves[i].Because = own[i], because[i]
		}
		w.unreached()
		w.unfitting()
	}
	for z := range w.res.Zones {
		w.judgeZone(&w.res.Zones[z])
	}
}

// unreached takes `as-configured` from the valves of a zone when one of its probes rose
// under none of them, though all were opened.
func (w *Walk) unreached() {
	for i := range w.res.Probes {
		p := &w.res.Probes[i]
		if w.roseUnder(p.ID, p.Zone) || !w.opened(p.Zone) {
			continue
		}
		verdict, because := NoResponse, fmt.Sprintf("probe %s rose under no valve of %s: dead, out of the substrate, or under a blocked emitter", p.ID, p.Zone)
		if v := w.valveOver(p.ID); v != "" {
			verdict, because = AnswersAnother, fmt.Sprintf("probe %s rose under valve %s, under none of %s: wired or placed in the wrong bed", p.ID, v, p.Zone)
		}
		for k := range w.res.Valves {
			if row := &w.res.Valves[k]; row.Zone == p.Zone && row.Verdict == AsConfigured {
				row.Verdict, row.Because = verdict, because
			}
		}
	}
}

// unfitting takes `as-configured` from the valves of a zone that together give what does
// not fit its emitters.
func (w *Walk) unfitting() {
	for i := range w.res.Zones {
		z := w.res.Zones[i].Zone
		because := ""
		if w.valvesOf(z) > 1 && w.opened(z) {
			because = w.misfitOfZone(z)
		}
		for k := range w.res.Valves {
			if row := &w.res.Valves[k]; because != "" && row.Zone == z && row.Verdict == AsConfigured {
				row.Verdict, row.Because = Unsure, because
			}
		}
	}
}

// opened reports whether each valve of a zone was opened and watched.
func (w *Walk) opened(zone string) bool {
	for i := range w.res.Valves {
		if w.res.Valves[i].Zone == zone && !w.res.Valves[i].Watched {
			return false
		}
	}
	return true
}

// verdict judges a valve. What it showed by itself leads, but for a plain rise.
func (w *Walk) verdict(row *Row) (Verdict, string) {
	if !row.Watched {
		return row.Verdict, row.Because
	}
	if z := w.zoneIndex(row.Zone); z >= 0 && w.leaking != nil && w.leaking[z] != "" {
		return Leak, w.leaking[z]
	}
	if row.Verdict == Leak {
		return row.Verdict, row.Because
	}
	own, other := w.count(row, row.Zone, true), w.count(row, row.Zone, false)
	switch {
	case own.rose == 0 && own.doubt == 0 && own.still > 0:
		return w.unfelt(row, &own, &other)
	case len(other.risen) > 0:
		return w.elsewhere(row, &own, &other)
	case own.total == 0:
		return Unsure, w.blind(row)
	case len(own.stillOnes) > 0 && w.valvesOf(row.Zone) == 1:
		return w.missing(row, &own)
	case row.Verdict != AsConfigured:
		return row.Verdict, row.Because
	case own.doubt+own.unheard+other.doubt > 0:
		return Unsure, "not sure of " + zones.Names(append(own.doubtful, other.doubtful...))
	case w.deaf(row) != "":
		return Unsure, "no probe of " + w.deaf(row) + " was heard: nobody knows whether it is watered too"
	case own.rose == 0:
		return Unsure, "none of its probes was heard"
	}
	return AsConfigured, fmt.Sprintf("%d of %d probes of %s rose, no other did", own.rose, own.total, row.Zone) + w.metering(row)
}

// deaf gives another zone none of whose probes was heard; "" = none.
func (w *Walk) deaf(row *Row) string {
	for i := range w.res.Zones {
		z := w.res.Zones[i].Zone
		if t := w.count(row, z, true); z != row.Zone && t.total > 0 && t.unheard == t.total {
			return z
		}
	}
	return ""
}

// tally counts what the probes of one zone, or of all others, did under a valve.
type tally struct {
	total, rose, still, doubt, unheard int
	risen, stillOnes, doubtful         []string // ids
}

func (w *Walk) count(row *Row, zone string, own bool) (t tally) {
	for i := range row.Cells {
		if (w.res.Probes[i].Zone == zone) != own {
			continue
		}
		t.total++
		id := row.Cells[i].Probe
		switch row.Cells[i].Seen {
		case Rose:
			t.rose++
			t.risen = append(t.risen, id)
		case Still:
			t.still++
			t.stillOnes = append(t.stillOnes, id)
		case Doubt:
			t.doubt++
			t.doubtful = append(t.doubtful, id)
		case Unheard:
			t.unheard++
			t.doubtful = append(t.doubtful, id+" (not heard)")
		}
	}
	return t
}

func (w *Walk) valvesOf(zone string) (n int) {
	for i := range w.res.Valves {
		if w.res.Valves[i].Zone == zone {
			n++
		}
	}
	return n
}

// unfelt is a valve that no probe of its zone felt.
func (w *Walk) unfelt(row *Row, own, other *tally) (Verdict, string) {
	if len(other.risen) == 0 {
		switch {
		case row.FlowLPM != nil && *row.FlowLPM < stillFlow:
			return NoResponse, "nothing flows and no probe rose: look at the valve, its wire and its output"
		case row.FlowLPM != nil:
			return NoResponse, fmt.Sprintf("%s L/min flow, but no probe rose: look where the water goes", litres(*row.FlowLPM))
		case other.doubt+own.unheard > 0:
			return Unsure, "no probe rose clearly; not sure of " + zones.Names(append(own.doubtful, other.doubtful...))
		}
		return NoResponse, "no probe rose: look at the valve, its wire, its output and its emitters"
	}
	beds := w.zonesOf(other.risen)
	for _, z := range beds {
		if back := w.valveThatWets(row.Zone, z); back != "" {
			return Swapped, fmt.Sprintf("it waters %s, and valve %s of %s waters %s: their hoses or wires are swapped (or all their probes)", z, back, z, row.Zone)
		}
	}
	return AnswersAnother, fmt.Sprintf("it waters %s (%s rose), not %s", zones.Names(beds), zones.Names(other.risen), row.Zone)
}

// elsewhere is a valve under which probes of other zones rose.
func (w *Walk) elsewhere(row *Row, own, other *tally) (Verdict, string) {
	for _, p := range own.stillOnes {
		for _, q := range other.risen {
			if w.roseUnder(p, w.zoneOf(q)) && !w.roseUnder(q, w.zoneOf(q)) {
				return Swapped, fmt.Sprintf("probes %s and %s are swapped: each rose under the other's valve", p, q)
			}
		}
	}
	for _, z := range w.zonesOf(other.risen) {
		rose := w.count(row, z, true)
		if 2*rose.rose > rose.total && rose.total > 1 || rose.rose == rose.total && w.valvesWet(z) > 0 {
			return AnswersAnother, fmt.Sprintf("it waters %s too (%s rose): a cross connection, or two valves on one output", z, zones.Names(rose.risen))
		}
	}
	return AnswersAnother, fmt.Sprintf("%s rose with it, though in the files of %s: wired or placed in the wrong bed",
		zones.Names(other.risen), zones.Names(w.zonesOf(other.risen)))
}

// missing is a zone with one valve some of whose probes did not rise.
func (w *Walk) missing(row *Row, own *tally) (Verdict, string) {
	for _, p := range own.stillOnes {
		if v := w.valveOver(p); v != "" {
			return AnswersAnother, fmt.Sprintf("probe %s rose under valve %s, not under this one: wired or placed in the wrong bed", p, v)
		}
	}
	return NoResponse, fmt.Sprintf("%s did not rise: dead, out of the substrate, or under a blocked emitter", zones.Names(own.stillOnes))
}

// blind is a valve whose zone has no probe.
func (w *Walk) blind(row *Row) string {
	if row.FlowLPM != nil {
		return fmt.Sprintf("%s has no probe; %s L/min flow: look at the bed", row.Zone, litres(*row.FlowLPM))
	}
	return row.Zone + " has no probe that could tell: look at the bed"
}

func (w *Walk) zoneOf(probe string) string {
	for i := range w.res.Probes {
		if w.res.Probes[i].ID == probe {
			return w.res.Probes[i].Zone
		}
	}
	return ""
}

func (w *Walk) zonesOf(probes []string) (out []string) {
	for _, p := range probes {
		z := w.zoneOf(p)
		if len(out) == 0 || out[len(out)-1] != z {
			out = append(out, z)
		}
	}
	return out
}

// valveThatWets gives a valve of zone `from` under which probes of `zone` rose and none
// of its own; "" = none.
func (w *Walk) valveThatWets(zone, from string) string {
	for i := range w.res.Valves {
		row := &w.res.Valves[i]
		if row.Zone == from && w.count(row, zone, true).rose > 0 && w.count(row, from, true).rose == 0 {
			return row.Valve
		}
	}
	return ""
}

// valvesWet counts the valves of a zone under which its own probes rose.
func (w *Walk) valvesWet(zone string) (n int) {
	for i := range w.res.Valves {
		if row := &w.res.Valves[i]; row.Zone == zone && w.count(row, zone, true).rose > 0 {
			n++
		}
	}
	return n
}

// roseUnder reports whether a probe rose under a valve of a zone.
func (w *Walk) roseUnder(probe, zone string) bool {
	for i := range w.res.Valves {
		row := &w.res.Valves[i]
		for k := range row.Cells {
			if row.Zone == zone && row.Cells[k].Probe == probe && row.Cells[k].Seen == Rose {
				return true
			}
		}
	}
	return false
}

// valveOver gives a valve of another zone under which a probe rose; "" = none.
func (w *Walk) valveOver(probe string) string {
	for i := range w.res.Valves {
		row := &w.res.Valves[i]
		for k := range row.Cells {
			if row.Cells[k].Probe == probe && row.Cells[k].Seen == Rose && row.Zone != w.zoneOf(probe) {
				return row.Valve
			}
		}
	}
	return ""
}

// judgeZone says whether all valves of a zone are as configured and each of its probes
// rose under one of them.
func (w *Walk) judgeZone(z *ZoneResult) {
	valves := 0
	for i := range w.res.Valves {
		row := &w.res.Valves[i]
		if row.Zone != z.Zone {
			continue
		}
		if valves++; row.Verdict != AsConfigured {
			z.Because = fmt.Sprintf("valve %s: %s: %s", row.Valve, row.Verdict, row.Because)
			return
		}
	}
	switch {
	case valves == 0:
		return
	case w.ask.Closings:
		z.Because = "its outputs close by themselves"
		return
	case w.leaking != nil && w.leaking[w.zoneIndex(z.Zone)] != "":
		z.Because = w.leaking[w.zoneIndex(z.Zone)]
		return
	}
	for i := range w.res.Probes {
		p := &w.res.Probes[i]
		if p.Zone == z.Zone && !w.roseUnder(p.ID, z.Zone) {
			z.Because = fmt.Sprintf("probe %s rose under none of its valves", p.ID)
			return
		}
		if v := w.valveOver(p.ID); p.Zone == z.Zone && v != "" {
			z.Because = fmt.Sprintf("probe %s rose under valve %s too", p.ID, v)
			return
		}
	}
	z.Good, z.Because = true, "as configured"
}

// shortly says what a valve showed, before the matrix is whole.
func (w *Walk) shortly(row *Row) string {
	own, other := w.count(row, row.Zone, true), w.count(row, row.Zone, false)
	s := fmt.Sprintf("%d of %d probes of %s rose", own.rose, own.total, row.Zone)
	if len(other.risen) > 0 {
		s += ", and " + zones.Names(other.risen) + " elsewhere"
	}
	if row.Because != "" {
		s += "; " + row.Because
	}
	return s
}
