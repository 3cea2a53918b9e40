package simroom

import (
	"fmt"
	"sort"
	"time"
)

// FaultKind says what goes wrong.
type FaultKind string

// The faults. Subject is named beside each; For 0 lasts for good.
const (
	ProbeLost      FaultKind = "probe-lost"      // probe: sends nothing
	ProbeStuck     FaultKind = "probe-stuck"     // probe: sends one level; Value %, 0 = the last it sent
	ProbeInAir     FaultKind = "probe-in-air"    // probe: pulled out; Value %, 0 = 2
	ProbeReplays   FaultKind = "probe-replays"   // probe: sends the last Value readings again and again, 0 = 60, with their old times
	ProbeRestamps  FaultKind = "probe-restamps"  // as before, with times of now
	ProbesSwapped  FaultKind = "probes-swapped"  // probe, and Other: each sits in the other's place
	ProbeMisplaced FaultKind = "probe-misplaced" // probe, and Other: it sits beside the other, in the other's bed
	ProbeDrifts    FaultKind = "probe-drifts"    // probe: shows Value points more with every hour (or less)

	ValveStuckOpen   FaultKind = "valve-stuck-open"   // valve: passes water, its output is off
	ValveStuckClosed FaultKind = "valve-stuck-closed" // valve: passes nothing, its output is on
	OutputWelded     FaultKind = "output-welded"      // valve: its output is on whatever is commanded, and says so
	OutputDead       FaultKind = "output-dead"        // valve: its output stays off, and says so
	HosesSwapped     FaultKind = "hoses-swapped"      // valve, and Other: each waters the other's bed
	OneOutput        FaultKind = "one-output"         // valve, and Other: it hangs on the other's output; its own moves nothing
	CrossFlow        FaultKind = "cross-flow"         // valve, and Other: Value 0 to 1 of what it gives its plants goes to the other's too

	EmittersBlocked FaultKind = "emitters-blocked" // zone, or probe: its plant; Value 0 to 1 still passes
	BedLeak         FaultKind = "bed-leak"         // zone: Value L/h run into the whole bed, past every valve
	SupplyDry       FaultKind = "supply-dry"       // supply: no water comes, nothing says so
	TankLow         FaultKind = "tank-low"         // supply: its low input is active, water still comes
	InputActive     FaultKind = "input-active"     // input, or controller/input
	InputSilent     FaultKind = "input-silent"     // input, or controller/input: sends nothing

	Reboot        FaultKind = "reboot"          // controller: off for For (0 = 2 s), then a new boot, all closed
	Offline       FaultKind = "offline"         // controller: cut off the broker, which says so; its outputs go on
	ReportsLost   FaultKind = "reports-lost"    // controller: sends no reports, all else goes on
	ClockRunsOff  FaultKind = "clock-runs-off"  // controller: uptime runs fast by Value parts in a million (or slow)
	CutOffMissing FaultKind = "cut-off-missing" // controller: outputs do not drop at their deadline
)

// rebootTime is how long a controller is away when it starts anew.
const rebootTime = 2 * time.Second

// Fault is one thing that goes wrong, from At (since the room began) on for For.
// Subject and Other are ids of the plan.
type Fault struct {
	Kind    FaultKind
	At, For time.Duration
	Subject string
	Other   string
	Value   float64
}

// Happened gives every fault that began or ended so far, in order.
func (r *Room) Happened() []Happening { return r.happened }

type timedFault struct {
	at     time.Duration
	begins bool
	effect func(begins bool)
	fault  Fault
}

// Inject adds a fault. One that is over already does nothing; one under way begins
// now. It fails when the plan has no such subject.
func (r *Room) Inject(f Fault) error {
	effect, err := r.effect(f)
	if err != nil {
		return err
	}
	if f.Kind == Reboot && f.For == 0 {
		f.For = rebootTime
	}
	if f.For < 0 || f.For > 0 && f.At+f.For <= r.now {
		return nil
	}
	r.plant(timedFault{at: max(f.At, r.now), begins: true, effect: effect, fault: f})
	if f.For > 0 {
		r.plant(timedFault{at: f.At + f.For, effect: effect, fault: f})
	}
	return nil
}

// plant puts a change into the order of time, after those of the same instant.
func (r *Room) plant(t timedFault) {
	r.soonKnown = false
	rest := r.faults[r.nextFault:]
	i := r.nextFault + sort.Search(len(rest), func(i int) bool { return rest[i].at > t.at })
	r.faults = append(r.faults, timedFault{})
	copy(r.faults[i+1:], r.faults[i:])
	r.faults[i] = t
}

// turn begins or ends a fault.
func (r *Room) turn(t timedFault) {
	r.settle()
	t.effect(t.begins)
	r.happened = append(r.happened, Happening{r.now, t.fault, t.begins})
	for _, c := range r.controllers {
		r.sendChangedInputs(c)
	}
}

// effect gives what a fault does at its beginning and at its end.
func (r *Room) effect(f Fault) (func(bool), error) {
	var do func(bool)
	switch f.Kind {
	case ProbeLost, ProbeStuck, ProbeInAir, ProbeReplays, ProbeRestamps, ProbesSwapped, ProbeMisplaced, ProbeDrifts:
		do = r.probeEffect(f)
	case ValveStuckOpen, ValveStuckClosed, OutputWelded, OutputDead:
		do = r.valveEffect(f)
	case HosesSwapped, OneOutput, CrossFlow:
		do = r.hoseEffect(f)
	case EmittersBlocked, BedLeak, SupplyDry, TankLow:
		do = r.waterEffect(f)
	case InputActive, InputSilent:
		do = r.inputEffect(f)
	case Reboot, Offline, ReportsLost, ClockRunsOff, CutOffMissing:
		do = r.controllerEffect(f)
	default:
		return nil, fmt.Errorf("inject fault: no kind %q", f.Kind)
	}
	if do == nil {
		return nil, fmt.Errorf("inject fault %s: nothing in the plan is called %q", f.Kind, f.Subject+f.Other)
	}
	return do, nil
}

// count adds a fault to its counter, or takes it away.
func count(n *int, begins bool) {
	if begins {
		*n++
	} else {
		*n--
	}
}
