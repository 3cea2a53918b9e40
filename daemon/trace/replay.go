package trace

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"time"

	"rillgate/zones"
	"rillgate/zones/virtual"
)

// Replay runs the core over a trace in virtual time, on a fresh ledger that answers
// at once, and writes what it does as JSON lines: command, record, state, alarm,
// entry, answer. The room starts with the first line and ends after the last as on
// SIGTERM. Times in the output are UTC with milliseconds. The same input gives the
// same bytes.
//
// Each controller of the plan reports every second and at once after a command;
// seconds are counted from the first line. At one instant outputs whose grant ends
// close first, then the lines of the trace come in their order, then the reports
// and the tick.
//
// A wrong line is a *LineError; nothing is written after it.
func Replay(plan *zones.Plan, in io.Reader, out io.Writer) error {
	return replay(plan, in, out, nil, false)
}

// replay also shows every step to watch, when there is one, and can be told to
// tick each second.
func replay(plan *zones.Plan, in io.Reader, out io.Writer, watch virtual.Observer, everySecond bool) error {
	p := &player{plan: plan, out: newWriter(out), watch: watch, everySecond: everySecond}
	stop := make(chan struct{})
	defer close(stop)
	err := p.play(readAhead(in, stop))
	if werr := p.out.flush(); werr != nil && err == nil {
		err = fmt.Errorf("write replay: %w", werr)
	}
	return err
}

// player feeds lines to a world and writes what comes of them.
type player struct {
	plan        *zones.Plan
	out         *writer
	watch       virtual.Observer
	everySecond bool
	world       *virtual.World
}

func (p *player) play(batches <-chan batch) error {
	for b := range batches {
		for i := range b.lines {
			if err := p.line(&b.lines[i]); err != nil {
				return err
			}
		}
		if b.err != nil && !errors.Is(b.err, io.EOF) {
			return b.err
		}
	}
	if p.world == nil {
		return nil
	}
	p.world.Shutdown()
	return p.check()
}

// line brings one line to the world.
func (p *player) line(l *Line) error {
	if p.world == nil {
		p.world = virtual.New(p.plan, l.At, p)
		p.world.EverySecond = p.everySecond
	}
	p.world.Advance(l.At)
	if err := p.bring(l); err != nil {
		return &LineError{Line: l.Number, What: err.Error(), Help: "a trace and its plan name the same things; replay it with the configuration that it was taken under"}
	}
	return p.check()
}

// check ends a replay that makes no sense to go on with: the core found an
// invariant broken, or nobody takes what is written.
func (p *player) check() error {
	if p.out.err != nil {
		return fmt.Errorf("write replay: %w", p.out.err)
	}
	return p.world.Err()
}

// bring gives one line's part to the world.
func (p *player) bring(l *Line) error {
	w := p.world
	switch {
	case l.Reading != nil:
		w.Send(l.Reading)
	case l.Report != nil:
		return w.Report(virtual.Valve{ID: l.Report.Valve, Open: l.Report.Open, FlowLPM: l.Report.FlowLPM, Obeys: l.Report.Obeys})
	case l.Controller != nil:
		return w.Controller(l.Controller.ID, l.Controller.Online, l.Controller.Boot)
	case l.Input != nil:
		return w.Input(l.Input.ID, l.Input.Active)
	case l.Broker != nil:
		w.Broker(l.Broker.Up)
	case l.Order != nil:
		p.order(l)
	case l.Clock != nil:
		p.clock(l.Clock)
	case l.Restart:
		w.Restart()
	case l.Taught != nil:
		w.Send(l.Taught.event())
	}
	return nil
}

// order sends an order; a word of trust in the clock is the shell's to keep.
func (p *player) order(l *Line) {
	o := *l.Order
	o.ID = "line-" + strconv.Itoa(l.Number)
	if o.Kind == zones.OrderClockTrust {
		p.world.Clock(true, 0)
	}
	p.world.Send(&o)
}

func (p *player) clock(c *Clock) {
	trusted := p.world.Trusted()
	if c.Trusted != nil {
		trusted = *c.Trusted
	}
	p.world.Clock(trusted, c.Step)
}

// Stepped writes the effects of a step.
func (p *player) Stepped(at time.Time, now zones.Instant, ev zones.Event, effects []zones.Effect) {
	p.out.effects(at, effects)
	if p.watch != nil {
		p.watch.Stepped(at, now, ev, effects)
	}
}

// Physical passes on that a contact moved.
func (p *player) Physical(now zones.Instant, o zones.Output, open bool) {
	if p.watch != nil {
		p.watch.Physical(now, o, open)
	}
}
