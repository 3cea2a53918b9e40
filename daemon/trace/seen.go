package trace

import (
	"maps"
	"slices"
	"time"

	"rillgate/zones"
)

// seenController is what a recorder knows of a controller.
type seenController struct {
	boot   string
	heard  time.Duration // Mono of the last report
	away   bool          // written as off the line
	inputs map[string]bool
}

// seenValve is what a recorder knows of a valve: the last command, and what its
// lines say of it.
type seenValve struct {
	id         string
	epoch, seq uint32
	boot       string
	open       bool
	until      time.Duration
	told       bool // a line fixed what it shows
	shows      bool
	flow       float64
}

// edge is how near to a grant's end a report may show either state.
const edge = 500 * time.Millisecond

// Plan tells the recorder the valves of a plan that came in force.
func (r *Recorder) Plan(p *zones.Plan) {
	known := r.valves
	r.valves = map[zones.Output]*seenValve{}
	add := func(o zones.Output, id string) {
		if v := known[o]; v != nil && v.id == id {
			r.valves[o] = v
			return
		}
		r.valves[o] = &seenValve{id: id, flow: -1}
	}
	for i := range p.Valves {
		add(p.Valves[i].Output, p.Valves[i].ID)
	}
	for i := range p.Supplies {
		if m := p.Supplies[i].Master; m != nil {
			add(m.Output, p.Supplies[i].ID+"-master")
		}
	}
}

func (r *Recorder) controller(id string) *seenController {
	c := r.seen[id]
	if c == nil {
		c = &seenController{inputs: map[string]bool{}}
		r.seen[id] = c
	}
	return c
}

// commanded notes what a valve was told.
func (r *Recorder) commanded(cmd *zones.Command) {
	if v := r.valves[cmd.Output]; v != nil {
		v.epoch, v.seq, v.boot, v.open = cmd.Epoch, cmd.Seq, cmd.Boot, cmd.Open
		v.until = time.Duration(cmd.UntilMS) * time.Millisecond
	}
}

// report writes what a report shows beyond what an obeying controller would.
func (r *Recorder) report(at time.Time, mono time.Duration, rep *zones.Report) error {
	if rep.Retained {
		return nil
	}
	c := r.controller(rep.Controller)
	c.heard = mono
	rebooted := c.boot != "" && c.boot != rep.Boot
	c.boot = rep.Boot
	if rebooted || c.away {
		c.away = false
		l := &Controller{ID: rep.Controller, Online: true}
		if rebooted {
			l.Boot = rep.Boot
		}
		if err := r.Line(&Line{At: at, Controller: l}); err != nil {
			return err
		}
	}
	for i := range rep.Outputs {
		if err := r.output(at, rep, &rep.Outputs[i]); err != nil {
			return err
		}
	}
	return nil
}

// output writes a line for one output when it shows what its command does not
// explain, when it comes back to doing so, or when its meter moved.
func (r *Recorder) output(at time.Time, rep *zones.Report, o *zones.OutputReport) error {
	v := r.valves[zones.Output{Controller: rep.Controller, Number: o.Number}]
	if v == nil || rep.Epoch < v.epoch || rep.Epoch == v.epoch && rep.Seq < v.seq {
		return nil
	}
	due := v.open && v.boot == rep.Boot && rep.Uptime < v.until
	off := o.Open != due && (v.until-rep.Uptime).Abs() > edge
	metered := o.FlowLPM >= 0 && o.FlowLPM != v.flow
	if off == v.told && !metered && (!off || o.Open == v.shows) {
		return nil
	}
	v.told, v.shows, v.flow = off, o.Open, o.FlowLPM
	return r.Line(&Line{At: at, Report: &Report{Valve: v.id, Open: o.Open, FlowLPM: o.FlowLPM, Obeys: !off}})
}

// status writes that a controller said goodbye; that it is back its report says.
func (r *Recorder) status(at time.Time, mono time.Duration, s *zones.Status) error {
	c := r.controller(s.Controller)
	if s.Online || s.Retained || c.away {
		return nil
	}
	c.away, c.heard = true, mono
	return r.Line(&Line{At: at, Controller: &Controller{ID: s.Controller}})
}

// silent writes which controllers have said nothing for too long.
func (r *Recorder) silent(at time.Time, mono time.Duration) error {
	for _, id := range slices.Sorted(maps.Keys(r.seen)) {
		c := r.seen[id]
		if c.boot == "" || c.away || !r.linked || mono-c.heard <= silence {
			continue
		}
		c.away = true
		if err := r.Line(&Line{At: at, Controller: &Controller{ID: id}}); err != nil {
			return err
		}
	}
	return nil
}

// input writes an input that changed; it was inactive before it was first heard.
func (r *Recorder) input(at time.Time, in *zones.InputState) error {
	c := r.controller(in.Controller)
	if c.inputs[in.ID] == in.Active {
		return nil
	}
	c.inputs[in.ID] = in.Active
	return r.Line(&Line{At: at, Input: &Input{ID: in.ID, Active: in.Active}})
}
