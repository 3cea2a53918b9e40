package daemon

import (
	"context"
	"fmt"
	"time"

	"rillgate/zones"
)

// awaitClosed bounds the wait for reports that confirm the closing at a stop.
const awaitClosed = 5 * time.Second

// Run drives the room in real time until ctx ends or an invariant breaks, then
// closes everything and lets go of all it holds. reload asks for an apply.
func (d *Daemon) Run(ctx context.Context, reload <-chan struct{}) error {
	d.notify.say("READY=1\nSTATUS=running " + d.o.Room)
	watching, stop := context.WithCancel(ctx)
	defer stop()
	go d.watchFiles(watching)
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
		select {
		case <-ctx.Done():
			return d.Close(nil)
		case <-reload:
			d.reload(ctx)
		case <-d.field.Wake():
		case <-d.recorder.ready:
		case f := <-d.posts:
			f()
		case <-timer.C:
		}
		d.turn()
		if err := d.broken(); err != nil {
			return d.Close(err)
		}
		if d.restart {
			return d.Close(ErrRestart)
		}
		timer.Reset(max(0, min(d.due(), d.tellDue())-d.now.Mono))
	}
}

// turn handles what has come in and lets time pass if that is due.
func (d *Daemon) turn() {
	if !d.pump() {
		d.look()
	}
	if d.now.Mono >= d.due() {
		d.beat()
	}
	d.tell()
}

// beat is one tick, and what hangs on the clock besides it.
func (d *Daemon) beat() {
	d.tick()
	if d.broken() != nil {
		return
	}
	d.housekeep()
	if d.notify.every > 0 && d.now.Mono-d.fed >= d.notify.every {
		d.fed = d.now.Mono
		d.notify.say("WATCHDOG=1")
	}
}

// broken gives the error of a breach, nil while there is none.
func (d *Daemon) broken() error {
	if d.proven() {
		return nil
	}
	return fmt.Errorf("%w: %s: %s", ErrBreach, d.breach.Invariant, d.breach.Detail)
}

// closing lets reports come in until everything is known to be closed, or the time
// is up.
func (d *Daemon) closing() {
	d.endWalk()
	d.stopping = true
	d.step(&zones.Shutdown{})
	timer := time.NewTicker(100 * time.Millisecond)
	defer timer.Stop()
	limit := time.NewTimer(awaitClosed)
	defer limit.Stop()
	for !d.quiet() {
		select {
		case <-limit.C:
			return
		case <-d.field.Wake():
		case <-d.recorder.ready:
		case f := <-d.posts:
			f()
		case <-timer.C:
			d.tick()
		}
		d.pump()
	}
}

// quiet reports whether nothing is left to wait for at a stop: every output is
// confirmed closed, or nobody is there to confirm and nothing may be open. After an
// unclean end an output of which nothing was heard yet may be open on a grant of the
// process before: a stop right after the start waits to tell it to close.
func (d *Daemon) quiet() bool {
	if d.room.Quiet() {
		return true
	}
	v := d.room.View(d.now)
	for i := range v.Valves {
		switch v.Valves[i].State {
		case zones.ValveOpen, zones.ValveMaybeOpen:
			return false
		case zones.ValveUnknown:
			if d.unclean {
				return false
			}
		}
	}
	for i := range v.Controllers {
		if v.Controllers[i].Online {
			return false
		}
	}
	return true
}
