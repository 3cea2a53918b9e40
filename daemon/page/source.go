package page

import (
	"time"

	"rillgate/zones"
)

// Source gives what the page shows. Each method answers from a snapshot or the store, and
// never waits for the loop; what it returns is not changed afterwards.
type Source interface {
	// View is the room as it is.
	View() zones.View
	// Plan is the plan in force; nil when there is none yet.
	Plan() *zones.Plan
	// History gives a series in [from, to), in time order.
	History(of Series, from, to time.Time) []Point
	// Shots gives the runs of a zone that were open within [from, to), in time order.
	Shots(zone string, from, to time.Time) []Shot
	// Notices are sentences that belong at the top of the page, such as "files on
	// disk differ: run `rillgate apply`".
	Notices() []string
}

// Series is one number of a zone or of a probe, over time.
type Series struct {
	Of          Quantity
	Zone, Probe string // one of them
}

// Point is a number at an instant; of moisture, % by volume. Known is false where there
// was none: the line has a gap there.
type Point struct {
	At    time.Time
	Value float64
	Known bool
}

// Shot is one run of a zone. End is zero while it is open.
type Shot struct {
	Start, End time.Time
	Opened     zones.Reason // why it opened
	Closed     zones.Reason // why it closed
	Litres     float64      // of the whole zone; 0 = not known
}
