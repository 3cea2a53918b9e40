package zones

import (
	"time"

	"rillgate/schedule"
)

// Memory is everything that must outlive the process. It is the fold of the
// ledger's records; the ledger writes it whole at the head of each segment.
type Memory struct {
	Seq     uint64                   `json:"seq"`
	Epoch   uint32                   `json:"epoch"`
	Age     time.Duration            `json:"age"`  // powered time so far
	Wall    time.Time                `json:"wall"` // last trusted wall time
	Lease   time.Duration            `json:"lease"`
	Plan    string                   `json:"plan"`
	Clean   bool                     `json:"clean"`            // the last process ended as it should
	Starts  []time.Duration          `json:"starts,omitempty"` // ages of starts after unclean ends
	Outputs map[string]*OutputMemory `json:"outputs,omitempty"`
	Zones   map[string]*ZoneMemory   `json:"zones,omitempty"`
	Probes  map[string]*ProbeMemory  `json:"probes,omitempty"`  // by place
	Latches []LatchMemory            `json:"latches,omitempty"` // of the room
	// Spent says that the budgets are unknown and count as spent until reset: the
	// ledger was lost or its tail was.
	Spent bool `json:"spent,omitempty"`
}

// Charge is valve time of one run on one output.
type Charge struct {
	Run    string        `json:"run"`
	Zone   string        `json:"zone"`
	Amount time.Duration `json:"amount"`
	End    time.Duration `json:"end"`            // age at which the run ends or ended
	Open   bool          `json:"open,omitempty"` // not closed in the ledger yet
	Kind   Reason        `json:"kind"`
	Litres float64       `json:"litres,omitempty"`
}

// OutputMemory is kept by controller output: a renamed zone inherits it.
type OutputMemory struct {
	Charges []Charge      `json:"charges,omitempty"`
	Rested  time.Duration `json:"rested"` // age of the last close
	Ran     bool          `json:"ran"`    // it was open at least once
	Latches []LatchMemory `json:"latches,omitempty"`
	Spent   bool          `json:"spent,omitempty"`
}

// LatchMemory is a latch in force.
type LatchMemory struct {
	Code    Reason        `json:"code"`
	Age     time.Duration `json:"age"`
	Wall    time.Time     `json:"wall"`
	Because string        `json:"because"`
}

// ZoneMemory is kept by zone id.
type ZoneMemory struct {
	HoldUntil  time.Duration     `json:"hold_until,omitempty"` // age; 0 = none
	HoldSource Source            `json:"hold_source,omitempty"`
	HoldOn     []Output          `json:"hold_on,omitempty"` // the zone's outputs then: the hold follows them into another zone
	Progress   schedule.Progress `json:"progress"`
	// Past keeps what earlier instances had, the oldest first, so that a clock set
	// back goes on in them instead of beginning them again.
	Past      []schedule.Progress `json:"past,omitempty"`
	Highs     map[string]Level    `json:"highs,omitempty"` // by place, since the last shot
	Response  ResponseMemory      `json:"response"`
	Litres    float64             `json:"litres"`
	Shots     int64               `json:"shots"`
	RunTime   time.Duration       `json:"run_time"`
	Lost      time.Duration       `json:"lost,omitempty"` // age since which the quorum is lost; 0 = not lost
	DayHigh   Level               `json:"day_high,omitempty"`
	Level     Level               `json:"level,omitempty"`      // moisture when it was last known
	LevelAt   time.Duration       `json:"level_at,omitempty"`   // at this age; 0 = never
	LevelHalf Level               `json:"level_half,omitempty"` // half-width at 95 %
	DayOf     time.Time           `json:"day_of"`
	Walked    *WalkMemory         `json:"walked,omitempty"` // the last good walk, or one of its wiring that took its word back
}

// WalkMemory is the wiring that a walk found right, or otherwise than the files say, and
// when.
type WalkMemory struct {
	Wiring  string    `json:"wiring"`
	Wall    time.Time `json:"wall"`
	Against string    `json:"against,omitempty"` // what was found; "" = it is right
}

// ResponseMemory counts shots that should have been felt.
type ResponseMemory struct {
	Shots   int           `json:"shots,omitempty"`
	Worth   Level         `json:"worth,omitempty"` // points by volume
	Base    Level         `json:"base,omitempty"`  // moisture at the last one's opening
	High    Level         `json:"high,omitempty"`  // highest since then
	Rose    Level         `json:"rose,omitempty"`  // what those before it raised, each from its opening
	JudgeAt time.Duration `json:"judge_at,omitempty"`
}

// ProbeMemory is kept by place.
type ProbeMemory struct {
	Excluded bool          `json:"excluded,omitempty"`
	Level    Level         `json:"level,omitempty"`   // where it stood before it fell
	Ignored  time.Duration `json:"ignored,omitempty"` // until this age
	Zone     string        `json:"zone,omitempty"`    // assigned by order
	ID       string        `json:"id,omitempty"`
	Label    string        `json:"label,omitempty"`
	// Instead is the place at which the files name the probe that an exchange brought
	// here: it stands until they name another.
	Instead string `json:"instead,omitempty"`
	// Void is the offset of the files that went with the probe before; 0 = none. It is
	// not added until they say another.
	Void Level `json:"void,omitempty"`
}

// RunRecord is the part of a record that is about a run.
type RunRecord struct {
	ID       string            `json:"id"`
	Zone     string            `json:"zone"`
	Outputs  []Output          `json:"outputs"`
	Master   *Output           `json:"master,omitempty"`
	Length   time.Duration     `json:"length"`
	Reason   Reason            `json:"reason"` // why opened; in a close, why closed
	Opened   Reason            `json:"opened,omitempty"`
	Progress schedule.Progress `json:"progress"`
	Amount   time.Duration     `json:"amount,omitempty"` // settle: what is really charged
	Litres   float64           `json:"litres,omitempty"`
	End      time.Duration     `json:"end,omitempty"` // age of the end
}

// LatchRecord sets or clears latches. Outputs empty = of the room.
type LatchRecord struct {
	Code    Reason   `json:"code"`
	Outputs []Output `json:"outputs,omitempty"`
	Because string   `json:"because,omitempty"`
}

// HoldRecord sets (Until > 0, an age) or ends a hold.
type HoldRecord struct {
	Zone   string        `json:"zone"`
	Until  time.Duration `json:"until"`
	Source Source        `json:"source,omitempty"`

	Outputs []Output `json:"outputs,omitempty"` // of the zone, as it is set
}

// ZoneProgress replaces what is remembered of a zone, but for hold and totals.
type ZoneProgress struct {
	Zone      string            `json:"zone"`
	Progress  schedule.Progress `json:"progress"`
	Highs     map[string]Level  `json:"highs,omitempty"`
	Response  ResponseMemory    `json:"response"`
	Lost      time.Duration     `json:"lost,omitempty"`
	DayHigh   Level             `json:"day_high,omitempty"`
	Level     Level             `json:"level,omitempty"`
	LevelAt   time.Duration     `json:"level_at,omitempty"`
	LevelHalf Level             `json:"level_half,omitempty"`
	DayOf     time.Time         `json:"day_of"`
}

// ProbeRecord replaces what is remembered of a place.
type ProbeRecord struct {
	Place  Place       `json:"place"`
	Memory ProbeMemory `json:"memory"`
	Was    *Place      `json:"was,omitempty"` // the probe was there; what is remembered of that place ends
}

// WalkedRecord says which wiring of a zone is right, or not any more.
type WalkedRecord struct {
	Zone    string `json:"zone"`
	Wiring  string `json:"wiring"`
	Against string `json:"against,omitempty"` // what was found against it
}

// BudgetRecord frees outputs whose budget counted as spent.
type BudgetRecord struct {
	Outputs []Output `json:"outputs"`
}
