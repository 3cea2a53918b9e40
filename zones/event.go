package zones

import "time"

// Instant is when something happens: Wall for windows, Mono (boot time, never
// stepped, arbitrary origin) for every duration, deadline, rest and age. Trusted
// says whether Wall may start windows.
type Instant struct {
	Wall    time.Time
	Mono    time.Duration
	Trusted bool
}

// Event is what Step takes: always a pointer to one of the types below.
type Event interface{ event() }

// Tick lets time pass.
type Tick struct{}

// Reading is one probe's message. EC (mS/cm, bulk) and Temperature (°C) are NaN
// when absent; Moisture counts when HasMoisture. At is the sender's own stamp as
// time since the Unix epoch, never compared with Wall.
type Reading struct {
	Place        Place
	Moisture     Level
	HasMoisture  bool
	Permittivity float64 // NaN when absent
	EC           float64
	Temperature  float64
	At           time.Duration
	HasTime      bool
	Retained     bool
	Serial       string
}

// OutputReport is one output in a Report. Flow is L/min, negative when not metered.
type OutputReport struct {
	Number  int
	Open    bool
	Run     string
	FlowLPM float64
}

// Report is a controller's word on its outputs. Outputs are in order of Number.
type Report struct {
	Controller string
	Boot       string
	Uptime     time.Duration // whole milliseconds
	Epoch, Seq uint32        // of the last command acted on; 0, 0 = none since its boot
	Outputs    []OutputReport
	Retained   bool
}

// Status is a controller's `status` topic.
type Status struct {
	Controller string
	Online     bool
	Retained   bool
}

// InputState is one input's message.
type InputState struct {
	Controller string
	ID         string
	Active     bool
	Retained   bool
}

// BrokerLink says whether the command connection is up.
type BrokerLink struct{ Up bool }

// OrderKind is what a person (or a set-topic) asks.
type OrderKind string

// The orders the core takes. Those of a later version are refused by name.
const (
	OrderAssign      OrderKind = "assign"      // Subject: probe, Zone, Label or ""
	OrderExchange    OrderKind = "exchange"    // Subject: probe, With or "": what answers at its place
	OrderLabel       OrderKind = "label"       // Subject: probe, Label
	OrderIgnore      OrderKind = "ignore"      // Subject: probe, For
	OrderHold        OrderKind = "hold"        // Zone, For
	OrderRelease     OrderKind = "release"     // Zone
	OrderShot        OrderKind = "shot"        // Zone, For or VolumeML (mL a plant)
	OrderSoak        OrderKind = "soak"        // Zone, VolumeML (mL a plant), For: the time it is spread over; or Subject SoakEnd
	OrderStop        OrderKind = "stop"        // Zone, or "" for the room
	OrderReset       OrderKind = "reset"       // Subject: zone, "room", supply, or "budget"
	OrderAcknowledge OrderKind = "acknowledge" // Subject: alarm, probe, zone, or "" for all
	OrderNote        OrderKind = "note"
	OrderClockTrust  OrderKind = "clock trust" // journalled here; the shell holds the trust
	OrderWalk        OrderKind = "walk"        // Zone, Subject: valve, For; without both, windows wait for a walk
	OrderWalkCut     OrderKind = "walk cut"    // Zone, Subject: valve; one grant that is not renewed
	OrderWalkAccept  OrderKind = "walk accept" // Zone, Subject: its wiring, "" = as it is now
	OrderWalkReject  OrderKind = "walk reject" // Zone, Subject: its wiring, Note: what was found against it
	OrderWalkEnd     OrderKind = "walk end"    // closes what a walk opened; windows open again
)

// OrderKinds lists every kind that a command of its name gives, those of a later
// version too, which the core refuses.
func OrderKinds() []OrderKind {
	return []OrderKind{OrderAssign, OrderExchange, OrderLabel, OrderIgnore, OrderHold, OrderRelease, OrderShot, OrderSoak, OrderStop, OrderReset,
		OrderAcknowledge, OrderNote, OrderWalk, OrderWalkCut, OrderWalkAccept, OrderWalkReject, OrderWalkEnd, OrderClockTrust, "restore", "uniformity"}
}

// Source says where an order came from: "socket", "mqtt", "input" or "trace".
type Source string

// Order asks for something. Every order is answered by one Answer effect.
type Order struct {
	ID       string // the shell's own, echoed in the Answer
	Kind     OrderKind
	Zone     string
	Subject  string
	For      time.Duration
	VolumeML float64 // mL a plant
	With     string  // of an exchange: the probe (id or place) that comes in the place of Subject
	Label    string
	// KeepOffset says of an exchange that it is the same probe at another place, or that
	// its offset was measured anew: the offset stays.
	KeepOffset bool
	// Anyway says of an exchange that it stands though the register knows better; the room
	// itself does not ask.
	Anyway bool
	Source Source
	By     string
	Note   string
}

// NewPlan puts a valid plan in force.
type NewPlan struct{ Plan *Plan }

// Recorded answers a Record effect: everything up to Seq is durable.
type Recorded struct{ Seq uint64 }

// RecordFailed says that Seq and what follows cannot be made durable.
type RecordFailed struct {
	Seq uint64
	Err string
}

// Shutdown closes everything; nothing opens afterwards.
type Shutdown struct{}

func (*Tick) event()         {}
func (*Reading) event()      {}
func (*Report) event()       {}
func (*Status) event()       {}
func (*InputState) event()   {}
func (*BrokerLink) event()   {}
func (*Order) event()        {}
func (*NewPlan) event()      {}
func (*Recorded) event()     {}
func (*RecordFailed) event() {}
func (*Shutdown) event()     {}
