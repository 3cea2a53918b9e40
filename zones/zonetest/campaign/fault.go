// Package campaign runs a room through days of virtual time while things go wrong
// at moments that a seed decides: the real core, the simulated room with its
// controllers, and between them a network, a ledger, clocks and people that fail.
// The invariants are checked after every step, and open times and budgets by a model
// of its own. It is for tests only.
//
//	Draw(seed) -> Case{room, faults} -> Run -> Result -> Shrink -> a shorter Case
//
// What goes wrong is a list, not a draw at run time, so that leaving one fault out
// leaves the others as they were.
package campaign

import (
	"encoding/json"
	"fmt"
	"time"

	"rillgate/zones"
)

// The kinds of fault that are not the simulated room's own. Subject is named beside
// each; those with For last that long.
const (
	NetLoss    = "net-loss"    // controller, or "" for all; Value: share of messages lost
	NetRepeat  = "net-repeat"  // likewise; Value: share that comes again, up to a minute later
	NetDelay   = "net-delay"   // likewise; Value: longest delay in s, order is kept
	NetReorder = "net-reorder" // likewise; Value: longest delay in s, order is not kept

	RetainedReading = "retained-reading" // probe: an old reading comes with the retain flag
	ReplayReadings  = "replay-readings"  // zone: what its probes sent comes again; Value: how much
	ReplayReports   = "replay-reports"   // controller: old reports come again; Value: how much
	RetainedReport  = "retained-report"  // controller: an old report comes with the retain flag
	RetainedStatus  = "retained-status"  // controller: `offline` comes with the retain flag
	ReplayCommands  = "replay-commands"  // old commands reach the controllers again; Value: how much

	BrokerDown = "broker-down" // Value: s until the process notices

	DiskSlow  = "disk-slow"  // Value: longest answer in s
	DiskFails = "disk-fails" // records are refused

	Crash        = "crash"          // down for For; Value: share of the unsynced tail that is lost
	CrashMidStep = "crash-mid-step" // in the middle of the next step's effects; Value: how many still happen
	CleanRestart = "clean-restart"  // told to end, begun again after For
	Stall        = "stall"          // the process stands still for For

	WallStep  = "wall-step"   // Value: s; trust is lost for a minute
	WallJump  = "wall-unseen" // Value: s; trust is kept
	Wall1970  = "wall-1970"   // for For the clock is at 1970, and not trusted
	Untrusted = "untrusted"   // for For

	Person   = "order"          // Other: the kind; Subject: zone, probe or alarm; Value: s or mL
	PlanTurn = "plan"           // Value: number of the plan put in force
	Foreign  = "second-gateway" // for For; Value: how much its epoch is above ours
)

// Fault is one thing that goes wrong: at At since the room began, or, with OnOpen, at
// the first opening after At and Delay more. Kinds not listed above are those of the
// simulated room.
type Fault struct {
	Kind    string        `json:"kind"`
	At      time.Duration `json:"at"`
	For     time.Duration `json:"for,omitempty"`
	OnOpen  bool          `json:"on_open,omitempty"`
	Delay   time.Duration `json:"delay,omitempty"`
	Subject string        `json:"subject,omitempty"`
	Other   string        `json:"other,omitempty"`
	Value   float64       `json:"value,omitempty"`
}

// String tells the fault in a line.
func (f Fault) String() string {
	s := fmt.Sprintf("%-16s %s", f.At, f.Kind)
	if f.OnOpen {
		s = fmt.Sprintf("%-16s %s, at the next opening + %s", f.At, f.Kind, f.Delay)
	}
	for _, x := range []string{f.Other, f.Subject} {
		if x != "" {
			s += " " + x
		}
	}
	if f.For != 0 {
		s += " for " + f.For.String()
	}
	if f.Value != 0 {
		s += fmt.Sprintf(" value=%g", f.Value)
	}
	return s
}

// Case is one history: the room that the seed gives, how long it runs, and what goes
// wrong in it. The last CalmDays are without faults; then watering must resume.
type Case struct {
	Seed     uint64  `json:"seed"`
	Days     float64 `json:"days"`
	CalmDays float64 `json:"calm_days,omitempty"`
	NoCutOff bool    `json:"no_cut_off,omitempty"` // outputs do not drop at their deadline
	Pressed  bool    `json:"pressed,omitempty"`    // pressure or transformers may be enough for one zone alone
	Sparse   bool    `json:"sparse,omitempty"`     // few messages while nothing happens
	Valves   bool    `json:"valves,omitempty"`     // the plan without z1 has none of its valves either
	Faults   []Fault `json:"faults"`

	spoil func(life int, e zones.Effect)
}

// Spoil lets a test plant a fault of its own: each effect of the room is changed before
// anything sees it; life counts the processes from 1 on.
func (c *Case) Spoil(change func(life int, e zones.Effect)) { c.spoil = change }

// String gives the case as a JSON file for `testdata/regress`.
func (c *Case) String() string {
	b, err := json.MarshalIndent(c, "", " ")
	if err != nil {
		return err.Error()
	}
	return string(b)
}

func (c *Case) end() time.Duration { return time.Duration(c.Days * float64(day)) }

// calm is when faults stop; a long time after the end when they never do.
func (c *Case) calm() time.Duration {
	if c.CalmDays == 0 {
		return c.end() + day
	}
	return c.end() - time.Duration(c.CalmDays*float64(day))
}

const day = 24 * time.Hour
