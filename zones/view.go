package zones

import (
	"time"

	"rillgate/zones/response"
	"rillgate/zones/substrate"
)

// WantedPrecision is the half-width of a zone's moisture, points, for which ProbesNeeded
// reckons (chosen here).
const WantedPrecision = 3.0

// View is the whole room at one instant, for the page, the topics and the control
// socket. It shares nothing with the Room.
type View struct {
	Wall        time.Time        `json:"at"`
	Room        string           `json:"room"`
	Name        string           `json:"name"`
	Trusted     bool             `json:"clock_trusted"`
	Age         float64          `json:"age_seconds"` // powered time of the room
	LightsOn    *bool            `json:"lights_on"`   // by its input, else by the schedule; nil = not known
	Plan        string           `json:"plan"`
	BrokerUp    bool             `json:"broker_up"`
	Stopped     bool             `json:"stopped"`
	Starting    bool             `json:"starting"`
	Zones       []ZoneView       `json:"zones"`
	Valves      []ValveView      `json:"valves"`
	Probes      []ProbeView      `json:"probes"`
	Controllers []ControllerView `json:"controllers"`
	Inputs      []InputView      `json:"inputs"`
	Supplies    []SupplyView     `json:"supplies"`
	Standing    []StandingView   `json:"standing"` // interlocks of the room that refuse water now, in their order
	Alarms      []AlarmView      `json:"alarms"`
	Healthy     *HealthyView     `json:"healthy"` // nil = the plan names none
}

// StandingView is one interlock of the room that refuses water now.
type StandingView struct {
	Code    Reason     `json:"code"`
	Since   *time.Time `json:"since"` // nil = not known
	Because string     `json:"because"`
	Latched bool       `json:"latched"` // it stands until a reset
}

// SupplyView is one supply.
type SupplyView struct {
	ID         string      `json:"id"`
	Reason     Reason      `json:"reason"` // the first interlock that refuses it; none = it is free
	Because    string      `json:"because"`
	Open       int         `json:"open"` // valves that are or may be open, the master not counted
	MaxOpen    int         `json:"max_open"`
	MaxFlowLPM float64     `json:"max_flow_lpm"` // 0 = no limit
	Master     string      `json:"master"`       // id of the master among the valves; "" = none
	Zones      []string    `json:"zones"`
	Waiting    []string    `json:"waiting"` // zones that wait for it
	Latches    []LatchView `json:"latches"`
}

// Quality says how good a zone's moisture is.
type Quality string

// The qualities of a zone: all its probes count, some, or too few.
const (
	QualityGood    Quality = "good"
	QualityPartial Quality = "partial"
	QualityNone    Quality = "none"
)

// ZoneView is one zone. Numbers that are not known are nil.
type ZoneView struct {
	ID           string      `json:"id"`
	Name         string      `json:"name"`
	State        ZoneState   `json:"state"`
	Reason       Reason      `json:"reason"`
	Because      string      `json:"because"`
	Next         string      `json:"next"`        // a sentence: what happens next
	Moisture     *float64    `json:"moisture"`    // %
	HalfWidth    *float64    `json:"half_width"`  // points, 95 %
	Temperature  *float64    `json:"temperature"` // °C, mean of the counting probes
	PoreEC       *float64    `json:"pore_ec"`     // mS/cm at 25 °C, median of the counting probes that tell it
	PoreProbes   int         `json:"pore_probes"` // how many do
	Quality      Quality     `json:"quality"`
	Counting     int         `json:"probes"` // probes that count
	Assigned     int         `json:"assigned"`
	AgeSeconds   *int        `json:"age"` // of the newest counting reading
	Window       string      `json:"window"`
	WindowEnds   *time.Time  `json:"window_ends"`
	Stage        string      `json:"stage"`
	CropDay      int         `json:"crop_day"`
	Shots        int         `json:"shots"` // in this opening
	OpenUntil    *time.Time  `json:"open_until"`
	RestUntil    *time.Time  `json:"rest_until"`
	HoldUntil    *time.Time  `json:"hold_until"`
	HoldSource   Source      `json:"hold_source"`
	Latches      []LatchView `json:"latches"`
	UsedSeconds  float64     `json:"used_seconds"` // of max_per_day, last 24 h of powered time
	LimitSeconds float64     `json:"limit_seconds"`
	BudgetSpent  bool        `json:"budget_spent"` // what was given is not known: all of it counts as used
	Soak         *SoakView   `json:"soak"`         // nil = none is on
	SoakSeconds  float64     `json:"soak_seconds"` // of soaks, last 24 h of powered time
	SoakRoom     *SoakRoom   `json:"soak_room"`    // nil = it may not be soaked
	Litres24     float64     `json:"litres_24h"`
	LitresTotal  float64     `json:"litres_total"`
	ShotsTotal   int64       `json:"shots_total"`
	RunSeconds   float64     `json:"run_seconds_total"`
	Metered      bool        `json:"metered"`
	Below        *float64    `json:"below"` // %; of the open window: below, or the floor of a dry-back
	StopAt       *float64    `json:"stop_at"`
	MaxMoisture  *float64    `json:"max_moisture"`
	DryLevel     *float64    `json:"dry_level"`      // %; nil = it has none
	DryAt        *time.Time  `json:"dry_at"`         // when it gets there without water; nil = cannot be told
	DryHalf      float64     `json:"dry_half_width"` // s either way, 95 %
	Field        *float64    `json:"field"`          // %, the level to which its shots drain back, as it has shown
	Spread       *float64    `json:"spread"`         // points, standard deviation of the counting probes

	Wiring    string     `json:"wiring"`     // a mark of its valves' outputs and its probes' places
	WalkedAt  *time.Time `json:"walked_at"`  // its last good walk; nil = none
	NotWalked string     `json:"not_walked"` // why it counts as not walked; "" = walked as it is wired

	Learned  *response.Learned `json:"learned"`  // what it has taught; nil = the daemon keeps none
	Refusals map[Reason]int    `json:"refusals"` // since the process began
}

// ProbesNeeded gives how many probes the zone would need for a half-width of
// WantedPrecision with the spread that it has now; 0 = not known.
func (z *ZoneView) ProbesNeeded() int {
	if z.Spread == nil {
		return 0
	}
	n, err := substrate.ProbesFor(max(*z.Spread, leastDoubt.Float()), WantedPrecision)
	if err != nil {
		return 0
	}
	return n
}

// LatchView is one latch in force.
type LatchView struct {
	Code    Reason    `json:"code"`
	Since   time.Time `json:"since"`
	Because string    `json:"because"`
}

// ValveState is the honest state of a valve.
type ValveState string

// The states of a valve.
const (
	ValveClosed    ValveState = "closed"
	ValveOpen      ValveState = "open"
	ValveMaybeOpen ValveState = "maybe-open"
	ValveUnknown   ValveState = "unknown"
	ValveLatched   ValveState = "latched"
)

// ValveView is one valve or master.
type ValveView struct {
	ID      string     `json:"id"`
	Output  Output     `json:"output"`
	Zone    string     `json:"zone"`
	Master  bool       `json:"master"`
	State   ValveState `json:"state"`
	Wanted  bool       `json:"wanted"`
	FlowLPM *float64   `json:"flow_lpm"`
}

// ProbeQuality is the quality of one probe.
type ProbeQuality string

// The qualities of a probe.
const (
	ProbeGood        ProbeQuality = "good"
	ProbeStale       ProbeQuality = "stale"
	ProbeImplausible ProbeQuality = "implausible"
	ProbeOutlier     ProbeQuality = "outlier"
	ProbeLost        ProbeQuality = "lost" // never heard since the start, or silent for an hour
	ProbeNew         ProbeQuality = "new"  // not live yet, or given to no zone
	ProbeIgnored     ProbeQuality = "ignored"
)

// ProbeView is one probe, in the files or found on the wire.
type ProbeView struct {
	ID           string       `json:"id"`
	Place        Place        `json:"place"`
	Zone         string       `json:"zone"`
	Label        string       `json:"label"`
	Serial       string       `json:"serial"`
	Quality      ProbeQuality `json:"quality"`
	Because      string       `json:"because"`
	Moisture     *float64     `json:"moisture"` // %
	EC           *float64     `json:"ec"`       // mS/cm, bulk, as sent
	EC25         *float64     `json:"ec_25"`    // the same at 25 °C
	PoreEC       *float64     `json:"pore_ec"`  // mS/cm at 25 °C, of the pore water
	PoreWhy      string       `json:"pore_why"` // what it leans on, or why there is none
	Permittivity *float64     `json:"permittivity"`
	Temperature  *float64     `json:"temperature"`
	AgeSeconds   *int         `json:"age"`
	InFiles      bool         `json:"in_files"`
	Offset       float64      `json:"offset,omitempty"` // points, as it is added to each moisture
	Kept         *KeptProbe   `json:"kept,omitempty"`   // what orders said of it; nil = nothing
}

// KeptProbe is what the register keeps of a probe by orders, beside what the files say.
type KeptProbe struct {
	Zone    string `json:"zone,omitempty"`
	Label   string `json:"label,omitempty"`
	Instead string `json:"instead,omitempty"` // the place at which the files named it when an exchange took it where it is
	Void    Level  `json:"void,omitempty"`    // offset of the files that belonged to the probe before, thousandths of a percent
}

// ControllerView is one room controller.
type ControllerView struct {
	ID      string `json:"id"`
	Online  bool   `json:"online"`
	Ready   bool   `json:"ready"` // closed first and confirmed under our epoch
	Boot    string `json:"boot"`
	Because string `json:"because"`
}

// InputView is one declared input. Known is false before it was heard.
type InputView struct {
	Controller string `json:"controller"`
	ID         string `json:"id"`
	Means      Means  `json:"means"`
	Active     bool   `json:"active"`
	Known      bool   `json:"known"`
}

// AlarmView is one alarm that stands.
type AlarmView struct {
	Code         Reason    `json:"code"`
	Subject      string    `json:"subject"`
	Since        time.Time `json:"since"`
	Because      string    `json:"because"`
	Acknowledged bool      `json:"acknowledged"`
}

// ID names the alarm among those of the room: code and subject, "leak-bay".
func (a *AlarmView) ID() string { return alarmID(a.Code, a.Subject) }
