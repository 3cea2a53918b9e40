// Package walk is the commissioning walk: it opens one valve after the other for a
// short metered time, watches which probes rise, how much and how late, and says of
// each valve whether it waters the bed that the files say. It is pure: it is told what
// the room shows and which orders were answered, and gives the next order.
//
//	View, Event and effects -> Walk -> Order ("walk ...")
//	                            '----> Result: a matrix valve by probe, verdicts, closing times
//
//	at rest -> opened -> watched -> at rest -> ... -> judged
//
// All openings go through the core, with every interlock that binds a shot by hand.
// What is not sure is called so: `as-configured` is said only where every probe of the
// zone rose clearly, and clearly no other did.
package walk

import (
	"time"

	"rillgate/zones"
)

// Verdict is what a walk makes of one valve.
type Verdict string

// The verdicts.
const (
	AsConfigured   Verdict = "as-configured"
	Swapped        Verdict = "swapped"         // with another valve, or two probes are
	NoResponse     Verdict = "no-response"     // of all its probes, or of some
	AnswersAnother Verdict = "answers-another" // it reaches another bed, or a probe answers another valve
	Leak           Verdict = "leak"            // water with nothing open, or more than the emitters give
	Unsure         Verdict = "unsure"
	Refused        Verdict = "refused"    // an interlock did not let it open
	NotWalked      Verdict = "not-walked" // the walk ended before it
)

// Seen is what one probe did while one valve was open and after.
type Seen string

// What a probe can do.
const (
	Rose    Seen = "rose"
	Still   Seen = "still"
	Doubt   Seen = "doubt"   // neither is sure
	Unheard Seen = "unheard" // too few readings
)

// Cell is one probe under one valve.
type Cell struct {
	Probe  string   `json:"probe"`
	Seen   Seen     `json:"seen"`
	Points float64  `json:"points"`         // that it rose by
	Half   float64  `json:"half"`           // doubt of that either way, points
	Late   *float64 `json:"late,omitempty"` // s from the opening until it had risen by half of it; where it rose
}

// Row is one valve.
type Row struct {
	Valve     string       `json:"valve"`
	Zone      string       `json:"zone"`
	Output    zones.Output `json:"output"`
	Verdict   Verdict      `json:"verdict"`
	Because   string       `json:"because"`
	OpenedAt  *time.Time   `json:"opened_at,omitempty"`
	Seconds   float64      `json:"seconds"`             // open
	Expected  float64      `json:"expected_points"`     // that a probe under mean emitters rises by; 0 = not known
	FlowLPM   *float64     `json:"flow_lpm,omitempty"`  // metered while it was open: its own meter, else its supply's master's
	MeantLPM  float64      `json:"meant_lpm"`           // what its emitters draw; 0 = not known
	AfterLPM  float64      `json:"after_lpm"`           // metered well after its close
	Watched   bool         `json:"watched"`             // it was opened, and probes and meter had their time
	CutShort  string       `json:"cut_short,omitempty"` // why it closed early; "" = it did not
	Cells     []Cell       `json:"cells,omitempty"`     // in the order of Result.Probes
	refusedBy zones.Reason
	again     bool // it was opened a second time, since the first left a doubt
}

// Says reports whether the row tells what the valve does: it was opened, watched to the
// end, and not cut short without a finding.
func (r *Row) Says() bool {
	watched := r.Watched || len(r.Cells) > 0 // those of before bear no such mark
	return watched && r.Verdict != NotWalked && r.Verdict != Refused && !(r.Verdict == Unsure && r.CutShort != "")
}

// contrary reports whether the valve surely is otherwise than configured.
func (r *Row) contrary() bool { return r.Says() && r.Verdict != AsConfigured && r.Verdict != Unsure }

// Probe is a column.
type Probe struct {
	ID    string `json:"id"`
	Zone  string `json:"zone"`
	Label string `json:"label,omitempty"`
}

// ZoneResult says whether all of a zone that was walked is as configured, or how one that
// was not is wet with nothing open.
type ZoneResult struct {
	Zone    string `json:"zone"`
	Good    bool   `json:"good"`
	Because string `json:"because"`
	Wiring  string `json:"wiring"` // mark of the wiring that was walked
}

// Closing is how long one output took to close on a grant that was not renewed.
type Closing struct {
	Valve   string       `json:"valve"`
	Output  zones.Output `json:"output"`
	At      time.Time    `json:"at"`
	Late    *float64     `json:"late_seconds,omitempty"` // after its grant ran out, by its controller's own time; nil = it was not seen
	Because string       `json:"because"`
}

// Result is what a walk found. Ended is zero while it goes on.
type Result struct {
	Room     string       `json:"room"`
	Plan     string       `json:"plan"`
	Begun    time.Time    `json:"begun"`
	Ended    time.Time    `json:"ended"`
	Partial  bool         `json:"partial"` // it was ended before it was through
	Why      string       `json:"why,omitempty"`
	Probes   []Probe      `json:"probes"`
	Valves   []Row        `json:"valves"`
	Zones    []ZoneResult `json:"zones"`
	Closings []Closing    `json:"closings,omitempty"`
}
