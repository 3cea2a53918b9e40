package trace

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"time"

	"rillgate/zones"
)

const (
	// stepNoticed is the smallest difference between the wall clock and true time
	// that is written as a step; slewing stays below it for long.
	stepNoticed = 250 * time.Millisecond
	// silence is how long a controller says nothing before it is written as off the
	// line: the core takes it for offline at the same time.
	silence = 15 * time.Second
)

// Recorder writes what comes to a running room as a trace that replays to the same
// decisions. True time is the wall clock at its first event plus the Mono since.
// Valves that do as they are told leave no report lines: a replay's controllers do
// the same by themselves. It is not safe for concurrent use.
type Recorder struct {
	out     *bufio.Writer
	encode  *json.Encoder
	began   bool
	wall    time.Time // true time at mono
	mono    time.Duration
	step    time.Duration // written so far
	trusted bool
	seen    map[string]*seenController
	valves  map[zones.Output]*seenValve
	linked  bool
}

// NewRecorder writes lines to out. The plan names the valves.
func NewRecorder(plan *zones.Plan, out io.Writer) *Recorder {
	r := &Recorder{out: bufio.NewWriter(out), trusted: true, linked: true, seen: map[string]*seenController{}}
	r.encode = json.NewEncoder(r.out)
	r.encode.SetEscapeHTML(false)
	r.Plan(plan)
	return r
}

// Flush hands what was written to the underlying writer.
func (r *Recorder) Flush() error {
	if err := r.out.Flush(); err != nil {
		return fmt.Errorf("write trace: %w", err)
	}
	return nil
}

// Line writes one line as it is; its number does not matter.
func (r *Recorder) Line(l *Line) error {
	if err := r.encode.Encode(wire(l)); err != nil {
		return fmt.Errorf("write trace: %w", err)
	}
	return nil
}

// Observe takes one step of the room: the event that came, and the effects, whose
// commands tell what the valves ought to do. Ticks and the ledger's answers leave
// no line of their own.
func (r *Recorder) Observe(now zones.Instant, ev zones.Event, effects []zones.Effect) error {
	if err := r.clock(now); err != nil {
		return err
	}
	at := r.trueTime(now)
	if err := r.silent(at, now.Mono); err != nil {
		return err
	}
	if err := r.event(at, now.Mono, ev); err != nil {
		return err
	}
	for _, e := range effects {
		if cmd, ok := e.(*zones.Command); ok {
			r.commanded(cmd)
		}
	}
	return nil
}

// Restart says that the process ended without a word and began again.
func (r *Recorder) Restart(now zones.Instant) error {
	if err := r.clock(now); err != nil {
		return err
	}
	return r.Line(&Line{At: r.trueTime(now), Restart: true})
}

func (r *Recorder) trueTime(now zones.Instant) time.Time { return r.wall.Add(now.Mono - r.mono) }

// clock writes a line when the wall clock left true time, or trust changed.
func (r *Recorder) clock(now zones.Instant) error {
	if !r.began {
		r.began, r.wall, r.mono, r.trusted = true, now.Wall.UTC(), now.Mono, now.Trusted
		trusted := now.Trusted // this line also says when the room began
		return r.Line(&Line{At: r.wall, Clock: &Clock{Trusted: &trusted}})
	}
	off := now.Wall.Sub(r.trueTime(now))
	c := Clock{Step: off - r.step}
	if c.Step.Abs() < stepNoticed {
		c.Step = 0
	}
	if now.Trusted != r.trusted {
		trusted := now.Trusted
		c.Trusted = &trusted
	}
	if c.Step == 0 && c.Trusted == nil {
		return nil
	}
	r.step += c.Step
	r.trusted = now.Trusted
	return r.Line(&Line{At: r.trueTime(now), Clock: &c})
}

// event writes the line of one event, when it has one.
func (r *Recorder) event(at time.Time, mono time.Duration, ev zones.Event) error {
	switch ev := ev.(type) {
	case *zones.Reading:
		return r.Line(&Line{At: at, Reading: ev})
	case *zones.Report:
		return r.report(at, mono, ev)
	case *zones.Status:
		return r.status(at, mono, ev)
	case *zones.InputState:
		return r.input(at, ev)
	case *zones.BrokerLink:
		if ev.Up == r.linked {
			return nil
		}
		r.linked = ev.Up
		for _, c := range r.seen {
			c.heard = mono // nobody could be heard while the link was down
		}
		return r.Line(&Line{At: at, Broker: &Broker{Up: ev.Up}})
	case *zones.Order:
		return r.Line(&Line{At: at, Order: ev})
	case *zones.Taught:
		return r.Line(&Line{At: at, Taught: taughtOf(ev)})
	case *zones.NewPlan:
		r.Plan(ev.Plan)
	}
	return nil
}
