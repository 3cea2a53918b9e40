package zones

import (
	"slices"
	"strconv"
	"strings"
)

// A loose output is one that no file names any more and that may be open. It has no zone. It
// is told to close and watched like every other; until it is known to be closed, and while
// it is latched, it counts in the limits of its supply.

// rememberedOutputs gives the outputs that had water within the last 24 h, or are latched
// open, whatever the files say. The last process may have ended before one was known to be
// closed, and the files may have lost it since.
func (r *Room) rememberedOutputs() []*output {
	var found []*output
	for _, key := range sortedKeys(r.mem.Outputs) {
		om := r.mem.Outputs[key]
		wet := slices.ContainsFunc(om.Charges, func(c Charge) bool { return r.t < c.End+day })
		if at, ok := outputNamed(key); ok && (wet || hasLatch(om.Latches, ValveMismatch) != nil) {
			found = append(found, newOutput(at, r.t))
		}
	}
	return found
}

// outputNamed is the opposite of Output.String.
func outputNamed(key string) (Output, bool) {
	i := strings.LastIndexByte(key, '/')
	if i < 0 {
		return Output{}, false
	}
	n, err := strconv.Atoi(key[i+1:])
	return Output{key[:i], n}, err == nil
}

// hasHands reports whether somebody may close an output that the plan lost: its controller,
// or, where that left with it, the grant that it has, until that is over.
func (r *Room) hasHands(o *output) bool {
	return r.controlBy[o.id.Controller] != nil || o.ctl != nil && o.maybeOpen(r.t)
}

// loosen keeps an output that the plan lost. What hangs on a master that left is no valve,
// and counts in no supply, but any supply's reset is for it too.
func (r *Room) loosen(o *output) {
	was := o.supply
	o.trunk = o.master || o.trunk
	o.zone, o.supply, o.master, o.loose = nil, nil, false, true
	switch {
	case o.trunk: // of no supply
	case was != nil:
		o.supply = r.supplyOf(was.cfg.ID)
	case len(r.supplies) == 1:
		o.supply = r.supplies[0]
	}
	if c := r.controlBy[o.id.Controller]; c != nil {
		o.ctl = c
	} else {
		o.shown = false // no report will tell any more: its grant has to run out
	}
	o.mem = r.mem.output(o.id)
	if o.valve == "" { // of another process: what it draws, and its name, went with the files
		o.valve = r.freshValve(o.id)
		for i := range r.plan.Valves {
			v := &r.plan.Valves[i]
			o.holding, o.inrush = max(o.holding, v.Holding), max(o.inrush, v.Inrush)
		}
	}
	r.outputs = append(r.outputs, o)
	r.outputBy[o.id] = o
}

// freshValve names an output that no file names.
func (r *Room) freshValve(at Output) string {
	id := at.Controller + "-" + itoa(at.Number)
	for slices.ContainsFunc(r.outputs, func(o *output) bool { return o.valve == id }) {
		id += "-x"
	}
	return id
}

// of reports whether the output is a valve of the supply, or may be: where there are
// several, nobody knows of which one a loose one is.
func (o *output) of(s *supply) bool {
	return !o.master && !o.trunk && (o.supply == s || o.loose && o.supply == nil)
}

// resetWith reports whether a reset of the supply is for the output too: a valve of it, or
// what was a master, which is of no supply any more.
func (o *output) resetWith(s *supply) bool { return o.of(s) || o.trunk }

// zoneless gives the mismatch of a valve of the supply that no zone has: nobody else tells.
func (r *Room) zoneless(s *supply) *LatchMemory {
	for _, o := range r.outputs {
		if o.zone == nil && o.resetWith(s) {
			if l := hasLatch(o.mem.Latches, ValveMismatch); l != nil {
				return l
			}
		}
	}
	return nil
}
