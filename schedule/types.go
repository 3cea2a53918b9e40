// Package schedule answers two questions for one zone, purely: which window is
// open at an instant, and does that window want water for the moisture seen.
//
//	day, crop -> stage -> routine -> window -> instance (an opening with a name and a date)
//	instance + progress + moisture -> want
//
// It holds no clock, goroutine, log or I/O: the instant always comes in.
package schedule

import "time"

// Level is a moisture, or a difference between two, in thousandths of a percent
// by volume (46.2 % is 46200; 3 points are 3000). In a window 0 means "not set".
type Level int32

// Percent is one percent, or one point.
const Percent Level = 1000

// Float gives the level in percent (or points).
func (l Level) Float() float64 { return float64(l) / 1000 }

// Date is a day on the room's own calendar.
type Date struct {
	Year  int
	Month time.Month
	Day   int
}

// IsZero reports whether the date is unset.
func (d Date) IsZero() bool { return d == Date{} }

// Anchor says what an edge of a window is reckoned from.
type Anchor uint8

// The anchors: a time of day, or the lights of the day.
const (
	AtClock Anchor = iota
	LightsOn
	LightsOff
)

// Edge is one end of a window on the clock face: Offset from midnight (AtClock)
// or from the lights (may be negative there).
type Edge struct {
	Anchor Anchor
	Offset time.Duration
}

// Day gives the lights from a date on; a zero From holds since ever. On and Off
// are offsets from midnight on the clock face, 0 <= x < 24 h.
type Day struct {
	From    Date
	On, Off time.Duration
}

// Weekdays is a set of weekdays, bit n for time.Weekday n; 0 = not a dated window.
type Weekdays uint8

// Has reports whether the set has the day.
func (w Weekdays) Has(d time.Weekday) bool { return w&(1<<uint(d)) != 0 }

// ShotKind says in what a shot is given.
type ShotKind uint8

// The kinds of shot: seconds of valve time, millilitres a plant, percent of the
// substrate volume of a plant.
const (
	BySeconds ShotKind = iota
	ByMillilitres
	ByPercent
)

// Shot is the size of one shot: seconds, mL a plant, or % of volume_per_plant.
type Shot struct {
	Kind  ShotKind
	Value float64
}

// Window is one named window of a routine, with the numbers in force.
type Window struct {
	Name        string
	From, Until Edge
	On          Weekdays      // with From and Until: only on these days (those whose lights the edges go by)
	Cron        string        // five fields; then For is set, and From and Until are not
	For         time.Duration // elapsed length of a cron window

	Below, StopAt, DryBack, Floor Level

	Shot          Shot
	Rest          time.Duration // 0 = the zone's min_rest alone
	MaxShots      int           // 0 = no limit
	WithoutProbes bool
}

// Dated reports whether the window takes the time from the daily ones.
func (w *Window) Dated() bool { return w.Cron != "" || w.On != 0 }

// Timed reports whether the window asks for water without asking for moisture.
func (w *Window) Timed() bool { return w.Below == 0 && w.StopAt == 0 && w.DryBack == 0 }

// Stage is a part of a crop: a routine from a day on (day 1 is the first).
type Stage struct {
	FromDay int
	Routine string
	Windows []Window
	EaseFor int // days over which numbers move from the stage before; 0 = at once
}

// Crop is a run of stages from a date. Ends is the last day with water; 0 = no end.
type Crop struct {
	Name   string
	Day1   Date
	Stages []Stage
	Ends   int
}

// Scale multiplies a zone's named numbers; 0 stands for 1.
type Scale struct {
	Shot, Below, StopAt, DryBack, Floor, Rest, MaxShots float64
}

// Zone is what the schedule says of one zone: either Windows (a routine or a
// list), or a Crop, or neither (fallow).
type Zone struct {
	Routine string // name of the routine, for sentences; "" for a list or a crop
	Windows []Window
	Crop    *Crop
	Scale   Scale
	Named   bool // the schedule names this zone (also with `none`)
}

// Calendar is the room's clock face: its zone and its lights. Days are in order
// of From, the first with a zero From.
type Calendar struct {
	Location *time.Location
	Days     []Day
}

// Instance is one opening of a window: [Start, End).
type Instance struct {
	ID         string // "<date of start>/<name>", cron windows "<date>T<hh:mm>/<name>"
	Window     Window // eased and scaled
	Start, End time.Time
}

// Situation is what the schedule says of a zone at an instant. It holds for every
// t with Since <= t < Until, so that a caller need not ask at every tick.
type Situation struct {
	Open         bool
	Instance     Instance  // when Open
	Fallow       bool      // no water is due at all (none, before day 1, after the end)
	Stage        string    // routine in force
	CropDay      int       // 0 without a crop
	LowestBelow  Level     // lowest `below` (or `floor`) of the routine in force; 0 = none
	LightsOn     time.Time // the last lights-on at or before t
	Since, Until time.Time
}

// Progress is what an instance has had so far. It survives restarts.
type Progress struct {
	Instance string `json:"instance"`
	Shots    int    `json:"shots"`   // given by this window, those cut short too
	Series   bool   `json:"series"`  // below with stop_at: a series has begun and not ended
	Reached  bool   `json:"reached"` // stop_at alone: it was reached once
}

// Sight is what is known of the zone's moisture.
type Sight struct {
	Known     bool
	Moisture  Level
	FallKnown bool  // dry_back: at least one high stands
	Fall      Level // combined fall from the probes' highs
}

// Trigger says why a window wants water.
type Trigger uint8

// The triggers.
const (
	None Trigger = iota
	BelowThreshold
	DriedBack
	ToLevel
	ByTime
)
