package walk

import (
	"fmt"

	"rillgate/zones"
)

// Bounds of what a meter may show, shares of what the emitters draw (chosen here: emitters
// differ by some 20 % among themselves, their mean by far less; a meter and a pressure
// that is a fifth off move it by some 10 % each). Under several valves of one zone nobody
// knows how many emitters each has: there each is held to the wide bounds, their sum to
// the narrow ones.
const (
	fitsLeast = 0.75
	fitsMost  = 1.3
	wideLeast = 0.4
	wideMost  = 1.6
	stillFlow = 0.05 // L/min: under it nothing flows
)

// supplyOf gives the supply of a valve; nil = it has none.
func (w *Walk) supplyOf(valve string) *zones.Supply {
	for i := range w.plan.Valves {
		if w.plan.Valves[i].ID != valve {
			continue
		}
		for k := range w.plan.Supplies {
			if w.plan.Supplies[k].ID == w.plan.Valves[i].Supply {
				return &w.plan.Supplies[k]
			}
		}
	}
	return nil
}

// metered gives what flows through a valve, L/min: by its own meter, else by that of its
// supply's master, since nothing else is open; nil = nobody meters it.
func (w *Walk) metered(v *zones.View, row *Row) *float64 {
	if x := valveOf(v, row.Valve); x != nil && x.FlowLPM != nil {
		return x.FlowLPM
	}
	s := w.supplyOf(row.Valve)
	if s == nil || s.Master == nil {
		return nil
	}
	for i := range v.Valves {
		if x := &v.Valves[i]; x.Master && x.Output == s.Master.Output {
			return x.FlowLPM
		}
	}
	return nil
}

// tooMuch says how a valve gives far more than it should; "" = it does not.
func (w *Walk) tooMuch(row *Row) string {
	if row.FlowLPM == nil {
		return ""
	}
	if row.MeantLPM > 0 && *row.FlowLPM > wideMost*row.MeantLPM {
		return held(*row.FlowLPM, row.MeantLPM, wideLeast, wideMost) + ": an open end, or another bed"
	}
	return ""
}

// misfit says how what a meter shows of a valve does not fit its emitters or its supply;
// "" = it fits, or nothing is known to hold it against.
func (w *Walk) misfit(row *Row) string {
	if row.FlowLPM == nil {
		return ""
	}
	if s := w.supplyOf(row.Valve); s != nil && s.MaxFlowLPH > 0 && *row.FlowLPM > s.MaxFlowLPH/60 {
		return fmt.Sprintf("%s L/min flow, more than the %s L/min that supply %s may give (max_flow): an open end, or emitters of another size",
			litres(*row.FlowLPM), litres(s.MaxFlowLPH/60), s.ID)
	}
	least, most := fitsLeast, fitsMost
	if w.valvesOf(row.Zone) > 1 {
		least, most = wideLeast, wideMost
	}
	return outOf(*row.FlowLPM, row.MeantLPM, least, most)
}

// misfitOfZone says the same of the valves of a zone together, where each has been metered.
func (w *Walk) misfitOfZone(zone string) string {
	sum, meant := 0.0, 0.0
	for i := range w.res.Valves {
		row := &w.res.Valves[i]
		if row.Zone != zone {
			continue
		}
		if row.FlowLPM == nil || row.MeantLPM <= 0 {
			return ""
		}
		sum, meant = sum+*row.FlowLPM, meant+row.MeantLPM
	}
	if s := outOf(sum, meant, fitsLeast, fitsMost); s != "" {
		return "all valves of " + zone + " together: " + s
	}
	return ""
}

// outOf says how a flow is out of bounds, shares of what is meant; "" = it is not, or
// nothing is meant.
func outOf(flow, meant, least, most float64) string {
	switch {
	case meant <= 0:
		return ""
	case flow > most*meant:
		return held(flow, meant, least, most) + ": look for an open end, another bed, or emitters of another size"
	case flow < least*meant:
		return held(flow, meant, least, most) + ": look for blocked emitters, low pressure, or a valve that opens half"
	}
	return ""
}

// held says what flows, what should, and what would fit.
func held(flow, meant, least, most float64) string {
	return fmt.Sprintf("%s L/min flow, its emitters draw %s (%.0f to %.0f %% of that fits)", litres(flow), litres(meant), 100*least, 100*most)
}

// metering says of a valve that is as configured what its meter showed; "" = it has none.
func (w *Walk) metering(row *Row) string {
	switch {
	case row.FlowLPM == nil:
		return ""
	case row.MeantLPM <= 0:
		return fmt.Sprintf("; %s L/min flow, held against nothing: its emitters are not in the files", litres(*row.FlowLPM))
	case w.valvesOf(row.Zone) > 1:
		return "; " + held(*row.FlowLPM, row.MeantLPM, wideLeast, wideMost)
	}
	return "; " + held(*row.FlowLPM, row.MeantLPM, fitsLeast, fitsMost)
}

// litres writes a flow as exactly as it matters.
func litres(lpm float64) string {
	if lpm < 9.995 {
		return fmt.Sprintf("%.2f", lpm)
	}
	return fmt.Sprintf("%.1f", lpm)
}
