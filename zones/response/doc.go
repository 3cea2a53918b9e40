// Package response keeps what the zones of a room have taught: how far a litre raises
// each, how long that takes, what the plants drink by day and by night, and to what
// level a shot drains back. From that it finds what is wrong with emitters, valves and
// probes, and tells when a zone will be dry. It never changes the volume of a shot.
//
//	Sample --> track (4 h a probe) --.
//	Run -----> episode --------------+--> shot  --> PointsPerLitre, Delay, Field --.
//	Light ---> quiet stretch --------'--> block --> UptakeDay, UptakeNight --------+--> Learned, Finding
//
// The package is pure: time comes in as age (powered time, as in package zones) and
// the same calls give the same answers. Moisture is percent by volume, differences are
// points, water is litres.
package response

import "time"

// Zone is what the plan says of a zone.
type Zone struct {
	ID       string
	Name     string   // for sentences; "" = the id
	Plants   int      // at least 1
	VolumeML float64  // substrate a plant; 0 = unknown
	FlowLPH  float64  // of the whole zone, L/h; 0 = unknown: shots are told by their length
	Probes   []string // ids, at most 64
}

// Sample is one probe's plausible moisture, %, stamped with the age at which it was
// measured.
type Sample struct {
	Probe    string
	At       time.Duration
	Moisture float64
}

// Run is one finished watering of a zone. Litres are the whole zone's, metered or
// reckoned; 0 = unknown.
type Run struct {
	Zone           string
	Opened, Closed time.Duration
	Litres         float64
}

// Number is something learned: its value, the standard deviation of the observations
// (Spread), the half-width of its 95 % interval, and of how many observations it is.
// With N = 0 nothing is known and the rest is 0. The half-width covers scatter and the
// difference between the probes of the zone, not an error that all probes share.
type Number struct {
	Value     float64 `json:"value"`
	Spread    float64 `json:"spread"`
	HalfWidth float64 `json:"half_width"`
	N         int     `json:"n"`
}

// Known reports whether anything was observed.
func (n Number) Known() bool { return n.N > 0 }

// Learned is what one zone has taught so far.
type Learned struct {
	Zone           string  `json:"zone"`
	PointsPerLitre Number  `json:"points_per_litre"` // points that one litre a plant raises it by; unknown where litres are
	DelayMinutes   Number  `json:"delay_minutes"`    // from the opening to half of the rise
	UptakeDay      Number  `json:"uptake_day"`       // points/h that it falls with the lights on: plants and evaporation
	UptakeNight    Number  `json:"uptake_night"`     // points/h, lights off
	UptakeSlope    Number  `json:"uptake_slope"`     // share of the uptake that it changes by with every point of moisture
	UptakeAt       float64 `json:"uptake_at"`        // %, the moisture that the uptakes are of; 0 = unknown
	UptakeDayML    Number  `json:"uptake_day_ml"`    // mL a plant and hour
	UptakeNightML  Number  `json:"uptake_night_ml"`
	Field          Number  `json:"field"` // %, the level to which a shot drains back
	Shots          int     `json:"shots"` // observed and kept, those that drained too
}

// Code says what kind of finding it is.
type Code string

// The findings.
const (
	EmittersBlocked Code = "emitters-blocked" // a shot raises the zone, or one probe's plant, far less than it did
	ProbeSlipped    Code = "probe-slipped"    // a probe fell at once and its neighbours did not
	LeakSuspected   Code = "leak-suspected"   // a zone rises without a command
	Swapped         Code = "swapped"          // moisture follows the shots of another zone
	ProbesStill     Code = "probes-still"     // a zone does not fall by day as it used to while nothing is watered
	ProbeDrifts     Code = "probe-drifts"     // a probe goes away from its neighbours while nothing is watered
)

// Codes lists every code, in order of weight: of two findings about one probe or zone
// the first stands.
func Codes() []Code {
	return []Code{Swapped, LeakSuspected, ProbeSlipped, EmittersBlocked, ProbesStill, ProbeDrifts}
}

// Finding is something that the zone's own past speaks against. It closes no valve.
type Finding struct {
	Code    Code          `json:"code"`
	Zone    string        `json:"zone"`
	Probe   string        `json:"probe,omitempty"` // "" = the zone as a whole
	Other   string        `json:"other,omitempty"` // swapped: the zone whose shots it follows
	Since   time.Duration `json:"since"`           // age at which the evidence begins
	Found   time.Duration `json:"found"`           // age at which it was enough
	Because string        `json:"because"`         // the evidence in words, with numbers
}

// Subject gives what the finding is about: the probe, else the zone.
func (f *Finding) Subject() string {
	if f.Probe != "" {
		return f.Probe
	}
	return f.Zone
}
