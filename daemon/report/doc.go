// Package report gives a room's days in numbers: what each zone was given, how its
// moisture went, what was refused and what was wrong.
//
//	journal ---- runs, refusals, alarms --.
//	history ---- moisture, pore EC -------+--> Build --> Report --> text, JSON, HTML
//	papers ----- drain, catch test -------'
//
// Build is pure: the same input gives the same report. A day is a date of the room's time
// zone, 00:00 to 24:00, so 23 or 25 hours where the clocks change. docs/report.md says
// what each number is.
package report

import (
	"time"

	"rillgate/zones"
	"rillgate/zones/response"
)

// How far back of the first day the input should reach.
const (
	LinesBefore   = 7 * 24 * time.Hour // of the journal: alarms that still stand
	SamplesBefore = 36 * time.Hour     // of history: the night before the first shot
)

// Line is one entry of the journal.
type Line struct {
	At time.Time
	zones.Entry
}

// Sample is one number of a minute, or of five minutes in history older than a week.
type Sample struct {
	At    time.Time
	Value float64
}

// Input is what a report is made of; zones by id. What is missing is left out of the
// report or said to be unknown.
type Input struct {
	Plan     *zones.Plan // in force now: its names and limits hold for past days too
	Now      time.Time
	Zone     string              // "" = all
	Lines    []Line              // in order of their writing
	Moisture map[string][]Sample // %, oldest first
	PoreEC   map[string][]Sample // mS/cm at 25 °C, oldest first
	Learned  map[string]response.Learned
	Drains   []Drain
	Catches  []Catch
}

// Report is some days of a room.
type Report struct {
	Room     string    `json:"room"`
	Name     string    `json:"name"`
	Plan     string    `json:"plan"` // hash of the plan in force
	TimeZone string    `json:"time_zone"`
	US       bool      `json:"us_units"` // shown in gallons
	Made     time.Time `json:"made"`
	Days     []Day     `json:"days"`
}

// Day is one date of the room's time zone.
type Day struct {
	Date   string    `json:"date"` // 2027-03-02
	From   time.Time `json:"from"`
	To     time.Time `json:"to"`     // the next midnight, also of a day that is not over
	SoFar  bool      `json:"so_far"` // it is not over
	Zones  []ZoneDay `json:"zones"`
	Alarms []Alarm   `json:"alarms"` // of the room: those that belong to no zone
}

// ZoneDay is one zone on one day. What is not known is null.
type ZoneDay struct {
	Zone   string `json:"zone"`
	Name   string `json:"name"`
	Plants int    `json:"plants"`

	Shots     int           `json:"shots"` // that opened on this day and gave water
	FirstShot *time.Time    `json:"first_shot"`
	LastShot  *time.Time    `json:"last_shot"` // its opening
	Seconds   float64       `json:"seconds"`   // of water
	Litres    float64       `json:"litres"`    // of the whole zone
	MLPlant   *float64      `json:"ml_per_plant"`
	Windows   []WindowShots `json:"windows"` // in order of their first shot
	Runs      []Run         `json:"runs"`

	Peak        *Extreme `json:"peak"`  // %
	Floor       *Extreme `json:"floor"` // %
	DryBack     *DryBack `json:"dry_back"`
	MaxMoisture *float64 `json:"max_moisture"`     // %, the limit
	OverMax     *float64 `json:"over_max_minutes"` // minutes above it
	Measured    float64  `json:"measured_minutes"` // minutes with a moisture

	PoreEC      *Range  `json:"pore_ec"` // mS/cm at 25 °C
	UptakeDay   *Uptake `json:"uptake_day"`
	UptakeNight *Uptake `json:"uptake_night"`

	Refusals   []Count        `json:"refusals"`  // by reason, the most first
	CutShort   []Count        `json:"cut_short"` // runs that did not end as planned, by reason
	Alarms     []Alarm        `json:"alarms"`
	Drains     []DrainSummary `json:"drains"`
	Uniformity *CatchSummary  `json:"uniformity"`

	Curve Curve `json:"curve"`
}

// WindowShots are the shots of one window, or those by hand.
type WindowShots struct {
	Window  string  `json:"window"`
	Shots   int     `json:"shots"`
	Seconds float64 `json:"seconds"`
	Litres  float64 `json:"litres"`
}

// Run is one watering. Closed is nil while it is not known.
type Run struct {
	ID      string       `json:"id"`
	Zone    string       `json:"-"`
	Opened  time.Time    `json:"opened"`
	Closed  *time.Time   `json:"closed"`
	Window  string       `json:"window"`
	ByPlan  bool         `json:"window_by_schedule"` // the journal does not name the window; the schedule of now does
	Reason  zones.Reason `json:"reason"`
	End     zones.Reason `json:"end"`
	Seconds float64      `json:"seconds"`
	Litres  float64      `json:"litres"`
}

// Extreme is a number and when it was so.
type Extreme struct {
	Value float64   `json:"value"`
	At    time.Time `json:"at"`
}

// DryBack is the day's largest fall between two shots: from the peak after one to the
// low before the next, which opened on this day.
type DryBack struct {
	Peak     Extreme `json:"peak"`
	Low      Extreme `json:"low"`
	Points   float64 `json:"points"`           // percent by volume
	Relative float64 `json:"relative_percent"` // of the peak
}

// Range is the least and the greatest of a day.
type Range struct {
	Least    float64 `json:"least"`
	Greatest float64 `json:"greatest"`
}

// Uptake is how fast moisture falls with the lights on, or off.
type Uptake struct {
	PointsPerHour  float64  `json:"points_per_hour"`
	MLPerPlantHour *float64 `json:"ml_per_plant_hour"` // nil = volume of substrate unknown
	Hours          float64  `json:"hours"`             // it is measured over; 0 = Learned
	Learned        bool     `json:"learned"`           // not of this day: what the zone has taught
}

// Count is how often something was.
type Count struct {
	Reason zones.Reason `json:"reason"`
	Count  int          `json:"count"`
}

// Alarm is one that stood on the day. Over is nil while it stands.
type Alarm struct {
	Code    zones.Reason `json:"code"`
	Probe   string       `json:"probe,omitempty"`
	Since   time.Time    `json:"since"`
	Over    *time.Time   `json:"over"`
	Because string       `json:"because"`
}

// Curve is the day's moisture, the mean of each step from From on; null = none.
type Curve struct {
	StepMinutes int        `json:"step_minutes"`
	Percent     []*float64 `json:"percent"`
}
