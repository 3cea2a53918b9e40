package simfield

import (
	"time"

	"rillgate/zones"
	"rillgate/zones/simroom"
)

// witness tells what the room said since the last look. began is the real time of the
// room's own beginning.
func (f *Field) witness(began time.Time, outs []simroom.Out) {
	w := f.options.Witness
	if w == nil {
		return
	}
	f.began = began
	for i := range outs {
		w.Said(began.Add(outs[i].At), outs[i].Controller, outs[i].Event)
	}
	w.Stood(began, f.sim)
}

// obeyed tells what a controller made of a command.
func (f *Field) obeyed(cmd *zones.Command, v simroom.Verdict) {
	if w := f.options.Witness; w != nil {
		w.Obeyed(f.began.Add(f.sim.Now()), cmd, v)
		w.Stood(f.began, f.sim)
	}
}
