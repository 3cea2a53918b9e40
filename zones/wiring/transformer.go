package wiring

import (
	"cmp"
	"slices"
)

// Spare is what a transformer should give over its need: common practice, no source.
const Spare = 0.25

// Transformer is what one controller's outputs draw at worst: all that max_open of
// each supply lets be open at once, masters too, what is held while all is well, and the
// step of one inrush.
type Transformer struct {
	Volts   Amount   `json:"volts"`
	Kind    string   `json:"kind,omitempty"`
	Rating  Amount   `json:"rating_va"`
	Open    []string `json:"open"` // what is taken as open at once
	Opening string   `json:"opening,omitempty"`
	Holding Amount   `json:"holding_va"`                  // all of it, held
	Inrush  Amount   `json:"inrush_va"`                   // added by one that opens
	Need    Amount   `json:"need_va"`                     // the sum
	Wanted  Amount   `json:"with_spare_va"`               // and a quarter more
	Unknown []string `json:"current_not_given,omitempty"` // they come on top
}

// transformer gives the worst load of a controller. The supplies do not know of
// each other, so all may be busy at once; of all that may be open, one is opening.
func (r *Room) transformer(c *Controller) Transformer {
	out := Transformer{Volts: positive(c.Volts), Kind: c.Kind, Rating: positive(c.VA), Open: []string{}}
	for i := range c.Valves {
		if c.Valves[i].Holding <= 0 {
			out.Unknown = append(out.Unknown, c.Valves[i].ID)
		}
	}
	if h := c.Healthy; h != nil && h.Holding <= 0 {
		out.Unknown = append(out.Unknown, healthyID)
	}
	open, opening, amps := r.worst(c)
	for _, v := range open {
		out.Open = append(out.Open, v.ID)
	}
	if opening == nil {
		return out
	}
	step := opening.inrush() - opening.Holding
	out.Opening = opening.ID
	if amps == 0 { // none gives a current
		return out
	}
	out.Holding, out.Inrush = out.Volts.scaled(amps-step), out.Volts.scaled(step)
	out.Need = out.Volts.scaled(amps)
	out.Wanted = out.Need.scaled(1 + Spare)
	return out
}

// worst tries each valve as the one that opens and gives what is then open at most,
// which one it is, and the current, A. The healthy output is held all along, and may be
// what pulls in.
func (r *Room) worst(c *Controller) (open []*Valve, opening *Valve, amps float64) {
	var always, candidates []*Valve
	if c.Healthy != nil {
		always = []*Valve{c.Healthy.coil()}
	}
	for i := range c.Valves {
		candidates = append(candidates, &c.Valves[i])
	}
	for _, v := range append(candidates, always...) {
		set := slices.Clone(always)
		sum := v.inrush() - v.Holding
		for j := range r.Supplies {
			set = append(set, c.openAtOnce(&r.Supplies[j], v)...)
		}
		for _, x := range set {
			sum += x.Holding
		}
		if slices.Contains(set, v) && (opening == nil || sum > amps) {
			open, opening, amps = set, v, sum
		}
	}
	return open, opening, amps
}

// openAtOnce gives the valves of a supply on this controller that hold most when as
// many as max_open are open, the opening one among them where it is of the supply.
// The master is open whenever any is.
func (c *Controller) openAtOnce(s *Supply, opening *Valve) []*Valve {
	var masters, valves []*Valve
	for i := range c.Valves {
		switch v := &c.Valves[i]; {
		case v.Supply != s.ID:
		case v.Master:
			masters = append(masters, v)
		default:
			valves = append(valves, v)
		}
	}
	slices.SortStableFunc(valves, func(a, b *Valve) int {
		return cmp.Or(boolInt(b == opening)-boolInt(a == opening), cmp.Compare(b.Holding, a.Holding))
	})
	return append(valves[:min(max(s.MaxOpen, 1), len(valves))], masters...)
}

func boolInt(b bool) int {
	if b {
		return 1
	}
	return 0
}
