package virtual

import (
	"time"

	"rillgate/zones"
)

const (
	inputPeriod  = time.Minute
	shutdownWait = 5 * time.Second
)

// At is the true time.
func (w *World) At() time.Time { return w.origin.Add(w.since) }

// Now is the instant as the room sees it.
func (w *World) Now() zones.Instant {
	return zones.Instant{Wall: w.origin.Add(w.since + w.step), Mono: w.mono(), Trusted: w.trusted}
}

func (w *World) mono() time.Duration { return monoAtStart + w.since }

// View is the room as it shows itself now.
func (w *World) View() zones.View { return w.room.View(w.Now()) }

// Err is the first breach that the room found in itself, as an error.
func (w *World) Err() error {
	if w.breach == nil {
		return nil
	}
	return &BreachError{*w.breach}
}

// BreachError says which invariant the room found broken.
type BreachError struct{ Breach zones.Breach }

func (e *BreachError) Error() string {
	return "hold " + e.Breach.Invariant + ": " + e.Breach.Detail
}

// Advance lets time pass up to a true time: every second before it in full, and
// what runs out at it. A time that is not ahead changes nothing.
func (w *World) Advance(to time.Time) {
	target := to.Sub(w.origin)
	if target <= w.since {
		return
	}
	w.finish()
	for {
		next := w.nextStop(target)
		w.since, w.done = next, false
		w.expire()
		if next == target {
			return
		}
		w.finish()
	}
}

// nextStop is the next instant at which something may happen, at most target.
func (w *World) nextStop(target time.Duration) time.Duration {
	next := min(target, w.since.Truncate(time.Second)+time.Second)
	if w.quiet() {
		next = min(target, w.nextBusySecond())
	}
	for _, c := range w.controllers {
		for _, o := range c.outputs {
			if end := c.ends(o) - monoAtStart; o.open && end > w.since {
				next = min(next, end)
			}
		}
	}
	return next
}

// quiet reports whether nothing comes each second but ticks that may be skipped.
func (w *World) quiet() bool {
	if w.EverySecond {
		return false
	}
	for _, c := range w.controllers {
		if c.Online && w.brokerUp {
			return false
		}
	}
	return true
}

// nextBusySecond is the first second after now at which the room has work.
func (w *World) nextBusySecond() time.Duration {
	due := max(w.room.Next()-monoAtStart, w.since)
	second := due.Truncate(time.Second)
	if second < due || second <= w.since {
		second += time.Second
	}
	return max(second, w.since.Truncate(time.Second)+time.Second)
}

// expire closes the outputs whose grants end now; their controllers say so.
func (w *World) expire() {
	for _, c := range w.controllers {
		before := c.openOutputs()
		if !c.expire(w.mono()) {
			continue
		}
		for _, n := range before {
			if !c.output(n).open {
				w.observer.Physical(w.Now(), zones.Output{Controller: c.ID, Number: n}, false)
			}
		}
		w.tell(c)
	}
}

// finish ends the instant: on a whole second the controllers report and the room
// ticks.
func (w *World) finish() {
	if w.done || w.since%time.Second != 0 {
		return
	}
	w.done = true
	if w.brokerUp {
		for _, c := range w.controllers {
			if c.Online && w.since%inputPeriod == 0 && w.since > 0 {
				w.tellInputs(c, false)
			}
			w.tell(c)
		}
	}
	if w.EverySecond || w.room.Next() <= w.mono() {
		w.send(&zones.Tick{})
	}
}

// Finish ends the instant, so that a caller sees what its last events led to.
func (w *World) Finish() { w.finish() }

// Shutdown ends the process as SIGTERM does: all closes, and confirming reports
// are awaited for at most 5 s.
func (w *World) Shutdown() {
	w.finish()
	w.send(&zones.Shutdown{})
	for end := w.since + shutdownWait; w.since < end && !w.allClosed(); {
		w.Advance(w.At().Add(time.Second))
		w.finish()
	}
}

func (w *World) allClosed() bool {
	v := w.View()
	for i := range v.Valves {
		if v.Valves[i].State != zones.ValveClosed {
			return false
		}
	}
	return true
}
