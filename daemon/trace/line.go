// Package trace reads, writes and replays traces: JSON lines in time order that say
// what came to a room.
//
//	{"at":"2027-03-01T06:00:00Z","reading":{"controller":"north","terminal":1,"address":"0","moisture":46.2}}
//
// `at` is true time, RFC 3339; the wall clock is `at` plus all steps so far. One line
// carries one of these parts:
//
//	reading     controller, terminal, address (or place), moisture %, permittivity,
//	            ec mS/cm, temperature °C, time (the sender's own stamp), serial, retained
//	report      valve, open, flow_lpm (a meter's L/min), obeys (the valve reports its
//	            contact again)
//	controller  id, online, boot (another value than before: it started anew)
//	input       id, active
//	broker      up
//	order       kind, zone, subject, probe, for, volume (mL or L a plant), by, note
//	clock       trusted, step (a Go duration)
//	restart     {}
//	taught      zone, field % (the level to which a shot drains back), day and night
//	            (uptake, points/h; 0 = not learned) with day_half and night_half, mid
//	            (% that they are of), slope and slope_half (share that they change by a point)
//
// Beyond the first fields named in each row nothing has to be there. Unknown keys,
// keys twice, a time that falls back and a line over 64 KiB are errors.
package trace

import (
	"fmt"
	"time"

	"rillgate/zones"
	"rillgate/zones/response"
)

// maxLine bounds one line, in bytes.
const maxLine = 64 << 10

// Line is one line of a trace. Exactly one part is set.
type Line struct {
	Number     int // 1 is the first line of the input
	At         time.Time
	Reading    *zones.Reading
	Report     *Report
	Controller *Controller
	Input      *Input
	Broker     *Broker
	Order      *zones.Order
	Clock      *Clock
	Restart    bool
	Taught     *Taught
}

// Report fixes what a valve shows from here on.
type Report struct {
	Valve   string  `json:"valve"` // id of the valve, or "<supply>-master"
	Open    bool    `json:"open"`
	FlowLPM float64 `json:"flow_lpm"` // L/min; negative = not metered
	Obeys   bool    `json:"obeys"`    // it shows its contact again
}

// Controller says whether a room controller is on the line. Boot "" is the boot
// that it had.
type Controller struct {
	ID     string `json:"id"`
	Online bool   `json:"online"`
	Boot   string `json:"boot,omitempty"`
}

// Input moves a contact.
type Input struct {
	ID     string `json:"id"`
	Active bool   `json:"active"`
}

// Broker takes the command connection down or up.
type Broker struct {
	Up bool `json:"up"`
}

// Clock sets trust (nil = as it was) and steps the wall clock.
type Clock struct {
	Trusted *bool
	Step    time.Duration
}

// Taught says what a zone's own past has shown.
type Taught struct {
	Zone      string  `json:"zone"`
	Field     float64 `json:"field,omitempty"`
	Day       float64 `json:"day,omitempty"`
	DayHalf   float64 `json:"day_half,omitempty"`
	Night     float64 `json:"night,omitempty"`
	NightHalf float64 `json:"night_half,omitempty"`
	Mid       float64 `json:"mid,omitempty"`
	Slope     float64 `json:"slope,omitempty"`
	SlopeHalf float64 `json:"slope_half,omitempty"`
}

// taughtOf is what a trace keeps of the event.
func taughtOf(e *zones.Taught) *Taught {
	return &Taught{Zone: e.Zone, Field: e.Field.Float(), Day: e.Day.Value, DayHalf: e.Day.HalfWidth, Night: e.Night.Value, NightHalf: e.Night.HalfWidth,
		Mid: e.At, Slope: e.Slope.Value, SlopeHalf: e.Slope.HalfWidth}
}

// event is what the room is told.
func (t *Taught) event() *zones.Taught {
	number := func(value, half float64) (n response.Number) {
		if value > 0 || half > 0 {
			n = response.Number{Value: value, HalfWidth: half, N: 1}
		}
		return n
	}
	return &zones.Taught{Zone: t.Zone, Field: level(t.Field), Day: number(t.Day, t.DayHalf), Night: number(t.Night, t.NightHalf),
		At: t.Mid, Slope: number(t.Slope, t.SlopeHalf)}
}

// LineError says which line of a trace is wrong. Hint says what would be right; it
// may be empty.
type LineError struct {
	Line   int
	Column int // 0 = the whole line
	What   string
	Help   string
}

func (e *LineError) Error() string {
	if e.Column > 0 {
		return fmt.Sprintf("read trace: line %d, column %d: %s", e.Line, e.Column, e.What)
	}
	return fmt.Sprintf("read trace: line %d: %s", e.Line, e.What)
}

// Hint says what would be right.
func (e *LineError) Hint() string { return e.Help }
