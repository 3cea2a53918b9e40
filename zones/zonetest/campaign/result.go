package campaign

import (
	"time"

	"rillgate/zones"
)

// Watering is one run, by the commands to its zone's first output: when it was first
// told to open, and when it was told to close; 0 = never.
type Watering struct {
	Run            string
	Opened, Closed time.Duration
}

// watering books a run's first opening and its first close.
func (w *world) watering(cmd *zones.Command) {
	list := w.result.Waters
	for i := len(list) - 1; i >= 0; i-- {
		if list[i].Run != cmd.Run {
			continue
		}
		if !cmd.Open && list[i].Closed == 0 {
			list[i].Closed = w.now
		}
		return
	}
	if cmd.Open && cmd.Zone != "" {
		w.result.Waters = append(list, Watering{Run: cmd.Run, Opened: w.now})
	}
}

// hashed takes a step into the hash of a history: its instant, what came, and of what
// was done the kind, and each number of each command.
func hashed(h uint64, at time.Duration, ev zones.Event, effects []zones.Effect) uint64 {
	h = scramble(h ^ uint64(at) ^ tag(ev)<<56)
	for _, e := range effects {
		switch e := e.(type) {
		case *zones.Command:
			open := uint64(0)
			if e.Open {
				open = 1
			}
			h = scramble(h ^ mix(uint64(e.Output.Number), e.Output.Controller, e.Run, string(e.Reason)) ^ uint64(e.UntilMS)<<1 ^ open)
			h = scramble(h ^ uint64(e.Epoch)<<32 ^ uint64(e.Seq))
		case *zones.Record:
			h = scramble(h ^ mix(e.Seq, string(e.Kind)) ^ uint64(e.Age))
		case *zones.State:
			h = scramble(h ^ mix(3, e.Zone, string(e.State), string(e.Reason), e.Because))
		case *zones.Alarm:
			h = scramble(h ^ mix(4, string(e.Code), e.Subject, e.Because))
		case *zones.Answer:
			h = scramble(h ^ mix(5, e.Order, e.Because))
		case *zones.Entry:
			h = scramble(h ^ mix(6, e.Kind, e.Run, e.Because))
		}
	}
	return h
}

// tag numbers the kinds of event.
func tag(ev zones.Event) uint64 {
	switch ev.(type) {
	case *zones.Tick:
		return 1
	case *zones.Reading:
		return 2
	case *zones.Report:
		return 3
	case *zones.InputState:
		return 4
	case *zones.Order:
		return 5
	case *zones.Recorded:
		return 6
	case nil:
		return 7
	}
	return 8
}

// Add sums up what came of another case.
func (r *Result) Add(o *Result) {
	r.Days += o.Days
	r.Steps += o.Steps
	r.Openings += o.Openings
	r.Lives += o.Lives
	r.Calm += o.Calm
	r.AtOnce += o.AtOnce
	for k, n := range o.Reasons {
		r.Reasons[k] += n
	}
	for k, n := range o.Happened {
		r.Happened[k] += n
	}
}
