package power

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"time"

	"rillgate/store/ledger"
	"rillgate/zones"
)

// lookFor is how long, in the room's time, the daemon is watched on an image: its boot
// hold, and some watering.
const lookFor = 45 * time.Second

// remembersFor is how long before the cut an opening must still be charged; it is less
// than the 24 h of the budget by what the age of a memory may lag.
const remembersFor = 23 * time.Hour

// Verdict is what one image came to.
type Verdict struct {
	Violations []string // what must not be
	Lost       []string // facts that were told and are missing; a lie of the card may cost them
	Seen       bool     // the daemon noticed a loss: every budget counts as spent
	Watered    bool     // something opened after the boot hold
	Repaired   bool     // the file system had to be repaired first
	Dead       string   // why there is no file system any more; "" = there is one
}

func (v *Verdict) violate(format string, args ...any) {
	v.Violations = append(v.Violations, fmt.Sprintf(format, args...))
}

// judge starts the daemon on a state directory as a cut left it, and holds what it
// remembers against the facts.
type judge struct {
	config, broker string
	known          *known // all that was told before the cut
	kept           *known // what the card must not have lost
	seed           uint64
	honest         bool
	log            *slog.Logger
}

// watched is what the daemon did on an image.
type watched struct {
	began  time.Duration // Mono of the first step; 0 = none yet
	opened []zones.Command
	early  bool
	breach string
}

func (w *watched) see(now zones.Instant, effects []zones.Effect) {
	if w.began == 0 {
		w.began = now.Mono
	}
	for _, e := range effects {
		switch e := e.(type) {
		case *zones.Command:
			if e.Open {
				w.opened = append(w.opened, *e)
				w.early = w.early || now.Mono-w.began < bootHold
			}
		case *zones.Breach:
			w.breach = e.Invariant + ": " + e.Detail
		}
	}
}

// image judges what is in a state directory. An error says that nothing can be judged.
func (j *judge) image(ctx context.Context, state string, v *Verdict) error {
	found, err := ledger.Inspect(state)
	if err != nil {
		v.violate("the ledger cannot be read: %v", err)
	}
	if j.honest && (found.Lost || found.Damaged || found.Fresh && j.known.Epoch > 0) { // before the first opening it may be fresh
		v.violate("the ledger is not whole: lost %v, damaged %v, fresh %v: %s", found.Lost, found.Damaged, found.Fresh, found.Detail)
	}
	var seen watched
	l, err := begin(ctx, lifeOptions{config: j.config, state: state, broker: j.broker, at: j.known.At + time.Minute,
		remembered: j.known.Last, seed: j.seed, log: j.log, watch: func(now zones.Instant, e []zones.Effect) { seen.see(now, e) }})
	if errors.Is(err, errNoMarks) {
		return err
	}
	if err != nil {
		v.violate("the daemon does not start: %v", err)
		return nil
	}
	j.started(l, v)
	j.live(ctx, l, v)
	if seen.early {
		v.violate("an output was opened within the boot hold")
	}
	if seen.breach != "" {
		v.violate("%s", seen.breach)
	}
	v.Watered = len(seen.opened) > 0
	behind := found.Memory != nil && found.Memory.Epoch < j.known.Epoch // controllers obeyed an epoch that is gone
	j.remembers(state, found.Lost || found.Damaged || behind, &seen, v)
	return nil
}

// started looks at the daemon as it stands after its start.
func (j *judge) started(l *life, v *Verdict) {
	view := l.daemon.Shown()
	for _, valve := range view.Valves {
		if valve.State == zones.ValveOpen {
			v.violate("valve %s is open at the start", valve.ID)
		}
	}
	for _, a := range view.Alarms {
		if j.honest && a.Code == zones.AlarmStoreDamaged {
			v.violate("alarm %s: %s", a.Code, a.Because)
		}
	}
}

func (j *judge) live(ctx context.Context, l *life, v *Verdict) {
	for l.now < lookFor {
		next, err := l.step(ctx)
		if err != nil {
			v.violate("the daemon does not run on: %v", err)
			break
		}
		l.now = next
	}
	if err := l.end(ctx); err != nil && j.honest {
		v.violate("the daemon does not end well: %v", err)
	}
}

// remembers holds the memory, as the daemon left it, against the facts.
func (j *judge) remembers(state string, loss bool, seen *watched, v *Verdict) {
	after, err := ledger.Inspect(state)
	if err != nil || after.Memory == nil {
		if len(seen.opened) > 0 {
			v.violate("something opened, and the ledger cannot be read: %v", err)
		}
		v.Seen = true
		return
	}
	m := after.Memory
	v.Seen = m.Spent
	if loss && !m.Spent && len(seen.opened) > 0 {
		v.violate("a loss was to be seen, and the budget does not count as spent")
	}
	if m.Epoch <= j.known.Epoch && len(seen.opened) > 0 {
		v.violate("epoch %d is used after a controller obeyed %d", m.Epoch, j.known.Epoch)
	}
	for _, c := range seen.opened {
		if spentAll(m, c.Output.String()) {
			v.violate("run %s opened %s, whose budget counts as spent", c.Run, c.Output)
		}
	}
	for _, missing := range missing(m, j.kept, j.known) {
		v.violate("%s", missing)
	}
	v.Lost = missing(m, j.known, j.known)
	if j.honest {
		v.Violations = append(v.Violations, v.Lost...)
	}
}

// missing says which facts a memory does not account for. What was about to end later, by
// all that is known, may have ended.
func missing(m *zones.Memory, k, later *known) (all []string) {
	for _, f := range k.Runs { // order: each for itself
		got := charged(m, f.Run, f.Output)
		if f.At > k.At-remembersFor && got < f.Open && !spentAll(m, f.Output) {
			all = append(all, fmt.Sprintf("run %s held %s open for %s, %s are charged", f.Run, f.Output, f.Open, got))
		}
	}
	for zone, held := range k.Held {
		if z := m.Zones[zone]; held && k.Freed[zone] == later.Freed[zone] && (z == nil || z.HoldUntil == 0) {
			all = append(all, fmt.Sprintf("zone %s was held, and nothing remembers it", zone))
		}
	}
	for zone, stopped := range k.Stopped {
		if stopped && k.Freed[zone] == later.Freed[zone] && !isStopped(m, outputs[zone]) {
			all = append(all, fmt.Sprintf("zone %s was stopped, and nothing remembers it", zone))
		}
	}
	return all
}

func isStopped(m *zones.Memory, o zones.Output) bool {
	om := m.Outputs[o.String()]
	if om == nil {
		return false
	}
	for _, l := range om.Latches {
		if l.Code == zones.StoppedByPerson {
			return true
		}
	}
	return false
}

// kinds shortens violations to what they have in common.
func kinds(violations []string) string {
	var all []string
	for _, v := range violations {
		words := strings.Fields(v)
		all = append(all, strings.Join(words[:min(4, len(words))], " "))
	}
	return strings.Join(all, "; ")
}
