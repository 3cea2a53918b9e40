package zones

import (
	"strconv"
	"time"

	"rillgate/schedule"
	"rillgate/zones/substrate"
)

// Level is a moisture in thousandths of a percent by volume.
type Level = schedule.Level

// Compiled-in ceilings. No file, order or message lifts them.
const (
	MaxRunCeiling    = time.Hour
	MaxPerDayCeiling = 12 * time.Hour
	MinRestFloor     = 10 * time.Second
	ShortestRun      = time.Second // of a window, a shot by hand, a soak (chosen here: a valve takes some 0.1 s each way)
	HoldCeiling      = 24 * time.Hour
	LeaseMin         = 10 * time.Second
	LeaseMax         = 2 * time.Minute
)

// Output names one controller output; budgets, latches and rests are kept by it.
type Output struct {
	Controller string `json:"controller"`
	Number     int    `json:"output"`
}

// String gives "north/1".
func (o Output) String() string { return o.Controller + "/" + strconv.Itoa(o.Number) }

// Plan is the whole of one valid configuration. It is never changed once made.
type Plan struct {
	Hash        string // of the three files' content
	Room        string
	Name        string
	US          bool // units shown: US customary, else metric
	Lease       time.Duration
	Calendar    schedule.Calendar
	Controllers []Controller
	Supplies    []Supply
	Valves      []Valve
	Probes      []Probe
	Zones       []Zone
	Healthy     *Output // held while all is well; nil = there is none
	HealthyPart HealthyPart
}

// HealthyPart is what hangs on the output that is held while all is well.
type HealthyPart struct {
	Drives          string  // for people; "" = nobody said
	Never           string  // why it may not be held at all; "" = it may
	Holding, Inrush float64 // A; 0 = unknown
}

// Location gives the room's time zone; UTC where the plan has none.
func (p *Plan) Location() *time.Location {
	if loc := p.Calendar.Location; loc != nil {
		return loc
	}
	return time.UTC
}

// Controller is a room controller: it carries terminals, outputs and inputs.
type Controller struct {
	ID     string
	Volts  float64 // 0 = unknown
	VA     float64 // transformer rating; 0 = unknown
	Inputs []Input
}

// Means says what an input stands for.
type Means string

// What an input can mean.
const (
	SupplyLow Means = "supply-low"
	Leak      Means = "leak"
	StopInput Means = "stop"
	Lights    Means = "lights"
)

// Input is a contact on a controller.
type Input struct {
	ID           string
	Means        Means
	NormallyOpen bool
}

// MasterKind says on which side of the zone valves a master opens.
type MasterKind string

// The kinds of master.
const (
	MasterValve MasterKind = "valve" // opens Lead before the first zone valve
	MasterPump  MasterKind = "pump"  // opens Lead after it
)

// Master is the valve or contactor that a whole supply hangs on.
type Master struct {
	Output          Output
	Kind            MasterKind
	Lead            time.Duration
	Holding, Inrush float64 // A
}

// Supply is water that zones share.
type Supply struct {
	ID         string
	MaxOpen    int     // valves open at once, the master not counted; at least 1
	MaxFlowLPH float64 // L/h; 0 = no limit
	Low        string  // id of its supply-low input; "" = none
	Master     *Master
}

// Valve is one solenoid on one output.
type Valve struct {
	ID              string
	Output          Output
	Supply          string
	Holding, Inrush float64 // A; 0 = unknown
	NoDeadline      bool    // its output knows no deadline (a foreign controller)
}

// Place is where a probe is wired: what a reading names it by.
type Place struct {
	Controller string `json:"controller"`
	Terminal   int    `json:"terminal"`
	Address    string `json:"address"` // one character; or the `place` of a foreign source, with terminal 0
}

// String gives "north/1/0".
func (p Place) String() string {
	return p.Controller + "/" + strconv.Itoa(p.Terminal) + "/" + p.Address
}

// Probe is a registered probe.
type Probe struct {
	ID    string
	Place Place
	Zone  string // "" = known but given to no zone
	Label string
	// Offset is added to each of its moistures, at most 15 points either way.
	Offset Level
}

// Medium says how the signals of a zone's probes are read.
type Medium struct {
	Curve   substrate.Curve // from permittivity to moisture
	PoreOff float64         // the substrate's offset in Hilhorst's formula
	ECAt25  bool            // the probes bring the EC to 25 °C themselves
}

// Combine says how the probes of a zone become one number.
type Combine string

// The combinations.
const (
	Median  Combine = "median"
	Mean    Combine = "mean"
	Trimmed Combine = "trimmed" // mean without the lowest and the highest, from three on
	Driest  Combine = "driest"
	Wettest Combine = "wettest"
)

// Moisture says how a zone's probes are read.
type Moisture struct {
	Combine     Combine
	Quorum      int
	StaleAfter  time.Duration
	PlausibleLo Level
	PlausibleHi Level
}

// Limits bind every shot of a zone.
type Limits struct {
	MaxRun      time.Duration
	MinRest     time.Duration
	MaxPerDay   time.Duration // any 24 h of age
	MaxMoisture Level
	Soak        *SoakLimits // nil = no soak is allowed
}

// Fallback waters a zone by time when its probes are lost.
type Fallback struct {
	Shot      schedule.Shot
	Every     time.Duration
	MaxPerDay time.Duration
}

// DryRule raises the alarm `dry` when the zone is under a level for a time.
type DryRule struct {
	Below Level
	For   time.Duration
}

// Zone is a bed of substrate with its own valves and probes.
type Zone struct {
	ID, Name     string
	Valves       []string
	Plants       int
	CanopyM2     float64
	Substrate    string  // kind, for sentences
	VolumeML     float64 // substrate a plant, mL; 0 = unknown
	HeightM      float64 // 0 = unknown
	EmittersEach float64 // emitters a plant; 0 = unknown
	EmitterLPH   float64 // L/h an emitter; 0 = unknown
	Moisture     Moisture
	Medium       Medium
	Limits       Limits
	Lost         *Fallback // nil = close
	Dry          *DryRule  // nil = the rule without a setting
	RequireWalk  bool      // no window waters it before a good walk of its wiring

	PoreEC          *Band // mS/cm; nil = not watched
	RootTemperature *Band // °C; nil = not watched
	Schedule        schedule.Zone
}

// FlowLPH gives what the whole zone draws, L/h; 0 = unknown.
func (z *Zone) FlowLPH() float64 {
	return float64(z.Plants) * z.EmittersEach * z.EmitterLPH
}

// PlantLPH gives what one plant gets, L/h; 0 = unknown.
func (z *Zone) PlantLPH() float64 { return z.EmittersEach * z.EmitterLPH }

// RunTime gives the valve time of a shot, rounded up to whole milliseconds; ok is
// false when the zone lacks the numbers (emitters, substrate) to reckon it.
func (z *Zone) RunTime(s schedule.Shot) (d time.Duration, ok bool) {
	ml := s.Value
	switch s.Kind {
	case schedule.BySeconds:
		return ceilMillis(s.Value * 1000), s.Value > 0
	case schedule.ByPercent:
		ml = s.Value / 100 * z.VolumeML
	}
	lph := z.PlantLPH()
	if !(ml > 0) || !(lph > 0) {
		return 0, false
	}
	return ceilMillis(ml * 3600 / lph), true
}

// ceilMillis turns milliseconds into a duration, up to the next whole one; a
// billionth is forgiven, so that 2 % of 4 L at 4 L/h is 72 s and not 72.001 s.
func ceilMillis(ms float64) time.Duration {
	n := time.Duration(ms)
	if ms-float64(n) > 1e-6 {
		n++
	}
	return n * time.Millisecond
}

// Points gives what d of valve time is worth in points by volume; 0 = unknown.
func (z *Zone) Points(d time.Duration) Level {
	if z.VolumeML <= 0 {
		return 0
	}
	ml := z.PlantLPH() * 1000 * d.Hours()
	return Level(ml / z.VolumeML * 100 * 1000)
}
