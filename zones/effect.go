package zones

import "time"

// Effect is what Step wants done, in order. The slice that Step returns is only
// good until the next Step.
type Effect interface{ effect() }

// Command goes to one controller output. An opening is a grant until UntilMS of
// the controller's own uptime; a close has Boot "" and UntilMS 0.
type Command struct {
	Output     Output
	Valve      string // id of the valve, or "<supply>-master"
	Zone       string // "" for a master, or a close at start
	Epoch, Seq uint32
	Run        string
	Open       bool
	Boot       string
	UntilMS    int64
	Reason     Reason
}

// State tells a zone's state, on every change of state or reason.
type State struct {
	Zone    string    `json:"zone"`
	State   ZoneState `json:"state"`
	Reason  Reason    `json:"reason"`
	Because string    `json:"because"`
}

// Alarm rises or clears.
type Alarm struct {
	Code    Reason `json:"code"`
	Subject string `json:"subject"` // zone, controller, supply, probe or room id
	Active  bool   `json:"active"`
	Because string `json:"because"`
}

// Entry is a line of the journal.
type Entry struct {
	Kind    string  `json:"kind"` // run-opened, run-closed, refused, order, alarm, plan, probe-new, ...
	Zone    string  `json:"zone,omitempty"`
	Valve   string  `json:"valve,omitempty"`
	Probe   string  `json:"probe,omitempty"`
	Run     string  `json:"run,omitempty"`
	Window  string  `json:"window,omitempty"` // name of the window whose run it is, run-opened
	Reason  Reason  `json:"reason,omitempty"`
	Because string  `json:"because,omitempty"`
	Order   string  `json:"order,omitempty"` // id of the order it answers
	Source  Source  `json:"source,omitempty"`
	By      string  `json:"by,omitempty"`
	Note    string  `json:"note,omitempty"`
	Seconds float64 `json:"seconds,omitempty"` // of water, run-closed
	Litres  float64 `json:"litres,omitempty"`  // of the whole zone, run-closed
}

// Answer ends an order.
type Answer struct {
	Order    string    `json:"order"`
	Kind     OrderKind `json:"kind"`
	Subject  string    `json:"subject"`
	Accepted bool      `json:"accepted"`
	Reason   Reason    `json:"reason"`
	Because  string    `json:"because"`
}

// Breach says that an invariant does not hold: the shell closes everything and stops.
type Breach struct {
	Invariant string // "INV-6"
	Detail    string
}

func (*Command) effect() {}
func (*State) effect()   {}
func (*Alarm) effect()   {}
func (*Entry) effect()   {}
func (*Answer) effect()  {}
func (*Breach) effect()  {}
func (*Record) effect()  {}

// ZoneState is the zone's published state.
type ZoneState string

// The states of a zone.
const (
	Idle     ZoneState = "idle"     // no window open
	Watching ZoneState = "watching" // a window is open, its trigger is not met
	Waiting  ZoneState = "waiting"  // refused
	Watering ZoneState = "watering"
	Resting  ZoneState = "resting"
	Held     ZoneState = "held"
	Stopped  ZoneState = "stopped"
	Latched  ZoneState = "latched"
	Fallow   ZoneState = "fallow"
)

// Reason is a stable code: the same in the store, on the topics, on the page and
// in the docs.
type Reason string

// NoReason stands where nothing refuses and nothing waters.
const NoReason Reason = "none"

// Interlocks, in the order in which they are asked; the first that refuses is
// the reason.
const (
	Starting          Reason = "starting"
	SecondGateway     Reason = "second-gateway"
	CrashLoop         Reason = "crash-loop"
	StoppedByPerson   Reason = "stopped"
	StoreFailed       Reason = "store-failed"
	LeakFound         Reason = "leak"
	ValveMismatch     Reason = "valve-mismatch"
	BrokerLost        Reason = "broker-lost"
	ControllerOffline Reason = "controller-offline"
	SupplyIsLow       Reason = "supply-low"
	ClockUnsure       Reason = "clock-unsure"
	HeldByPerson      Reason = "held"
	NotWalked         Reason = "not-walked"
	NoResponse        Reason = "no-response"
	OverWet           Reason = "over-wet"
	ProbesLost        Reason = "probes-lost"
	ProbesImplausible Reason = "probes-implausible"
	DailyLimit        Reason = "daily-limit"
	MaxRunReached     Reason = "max-run"
	RestingStill      Reason = "resting"
	ShotsSpent        Reason = "shots-spent"
	SupplyBusy        Reason = "supply-busy"
	PlanChanged       Reason = "plan-changed"
	WindowPassed      Reason = "window-passed"
)

// Why a run opened, and the plain end of one.
const (
	BelowThreshold  Reason = "below-threshold"
	DriedBack       Reason = "dried-back"
	ToLevel         Reason = "to-level"
	TimedShot       Reason = "timed"
	ByHand          Reason = "by-hand"
	LostProbesTimed Reason = "lost-probes-timed"
	Soak            Reason = "soak"
	Walk            Reason = "walk"
	ShotDone        Reason = "shot-done"
)

// More alarm codes.
const (
	AlarmDry            Reason = "dry"
	AlarmProbesDisagree Reason = "probes-disagree"
	AlarmUnfinishedRun  Reason = "unfinished-run"
	AlarmPlanRejected   Reason = "plan-rejected"
	AlarmStoreDamaged   Reason = "store-damaged"
	AlarmPoreEC         Reason = "pore-ec"
	AlarmRootWarmth     Reason = "root-temperature"
)

// RecordKind says what a ledger record is about.
type RecordKind string

// The kinds of record.
const (
	RecIntent   RecordKind = "intent"   // a run is charged whole, before it opens
	RecOpened   RecordKind = "opened"   // never awaited: the first grant left
	RecClose    RecordKind = "close"    // the run ended; the charge stands
	RecSettle   RecordKind = "settle"   // the unused part comes back
	RecLatch    RecordKind = "latch"    // a latch set
	RecReset    RecordKind = "reset"    // a latch cleared by a person
	RecHold     RecordKind = "hold"     // a hold set or ended
	RecEpoch    RecordKind = "epoch"    // a new epoch, before it is used
	RecStart    RecordKind = "start"    // the daemon started (epoch inside)
	RecStop     RecordKind = "stop"     // a clean end
	RecAge      RecordKind = "age"      // powered time so far, and the wall clock
	RecProgress RecordKind = "progress" // windows, highs, response counts
	RecProbe    RecordKind = "probe"    // exclusion, ignore, assignment
	RecPlan     RecordKind = "plan"     // hash in force and lease
	RecWalked   RecordKind = "walked"   // the wiring of a zone was found, or said, to be right
	RecSpent    RecordKind = "spent"    // what was given is not known: every budget counts as spent
)

// Record is a change of Memory, to be made durable in order. Wait says that the
// core acts only on its Recorded; Lazy that it may be lost in a crash, and need not
// cost a sync of its own. The same type is a ledger frame (JSON).
type Record struct {
	Seq     uint64         `json:"seq"`
	Kind    RecordKind     `json:"kind"`
	Age     time.Duration  `json:"age"`
	Wall    time.Time      `json:"wall"`
	Trusted bool           `json:"trusted,omitempty"`
	Wait    bool           `json:"-"`
	Lazy    bool           `json:"-"`
	Run     *RunRecord     `json:"run,omitempty"`
	Latch   *LatchRecord   `json:"latch,omitempty"`
	Hold    *HoldRecord    `json:"hold,omitempty"`
	Epoch   uint32         `json:"epoch,omitempty"`
	Lease   time.Duration  `json:"lease,omitempty"`
	Plan    string         `json:"plan,omitempty"`
	Zones   []ZoneProgress `json:"zones,omitempty"`
	Probe   *ProbeRecord   `json:"probe,omitempty"`
	Budget  *BudgetRecord  `json:"budget,omitempty"`
	Walked  *WalkedRecord  `json:"walked,omitempty"`
}
