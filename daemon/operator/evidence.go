package operator

import (
	"fmt"
	"time"

	"rillgate/zones"
	"rillgate/zones/register"
)

// Evidence is what a Why of a valve or a probe rests on beyond the view.
type Evidence struct {
	Now   time.Time // of the look, on the room's clock
	Valve *zones.ValveEvidence
	Probe *zones.ProbeEvidence
	// Lines are what the journal says of it, oldest first: of a valve the last run of its
	// zone, opening and end; of a probe or the healthy output the newest of its own.
	Lines []Line
	// First and Last are when a probe was heard first and last, as the register has it; zero
	// = it does not know.
	First, Last time.Time
	// Life is what the register knows of a probe; nil = nothing. It knows better than First
	// when a probe was heard first: First is of its place.
	Life *register.Life
	Dead bool // no daemon runs: how it is now is not known
}

// Told puts the evidence behind what a Why says already.
func (e *Evidence) Told(y *Why) {
	switch {
	case e.Valve == nil:
	case y.Kind == "output":
		e.healthy(y, e.Valve)
	default:
		e.valve(y, e.Valve)
	}
	if e.Probe != nil {
		e.probe(y, e.Probe)
	}
	e.life(y)
}

// clock writes an instant with its distance from now.
func (e *Evidence) clock(t time.Time) string {
	if t.IsZero() {
		return "never"
	}
	text := t.In(e.Now.Location()).Format(time.DateTime)
	switch d := e.Now.Sub(t); {
	case d >= time.Second:
		text += ", " + ago(d) + " ago"
	case d <= -time.Second:
		text += ", in " + ago(-d)
	}
	return text
}

func (e *Evidence) at(t *time.Time) string {
	if t == nil {
		return "never"
	}
	return e.clock(*t)
}

// ago writes a length of time as roughly as it matters.
func ago(d time.Duration) string {
	switch {
	case d >= 48*time.Hour:
		return plural(int(d/(24*time.Hour)), "day")
	case d >= time.Hour:
		return hoursWords(d)
	case d >= time.Minute:
		return d.Truncate(time.Second).String()
	}
	return plural(int(d/time.Second), "second")
}

func plural(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %ss", n, one)
}
