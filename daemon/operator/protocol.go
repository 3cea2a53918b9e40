// Package operator is the control socket: how people on this machine look at a
// running room and give it orders.
//
//	rillgate hold east --for 2h
//	   |  one request: a JSON object on one line, 64 KiB at most
//	   v
//	control.sock (mode 0660: who may write to it may order)
//	   |  peer's user, asked of the kernel, goes with the order as `by`
//	   v
//	Desk  --> the loop --> zones.Room
//	   |
//	   v  one or more replies, a JSON object each on a line; the last says "done"
//
// A restore's backup follows its request line. A follower of the journal gets replies until it goes. A connection carries one
// request.
package operator

import (
	"encoding/json"
	"time"

	"rillgate/daemon/history"
	"rillgate/daemon/report"
	"rillgate/zones"
)

// SocketName is the control socket's name in the state directory.
const SocketName = "control.sock"

// Bounds of the socket: what one request may take of the daemon.
const (
	MaxRequest = 64 << 10         // bytes of one request line
	MaxBackup  = 1 << 30          // bytes of a backup to be restored
	MaxPeers   = 16               // connections at once; more are refused
	MaxFollow  = 10               // of them, those that follow the journal: who looks on keeps nobody from an order
	AskWithin  = 5 * time.Second  // the request must have come
	ReplyStall = 10 * time.Second // a peer that does not read for so long is dropped
)

// Kind says what a request asks.
type Kind string

// The kinds of request.
const (
	AskView    Kind = "view"
	AskJournal Kind = "journal"
	AskTrace   Kind = "trace"
	AskWhy     Kind = "why"
	AskOrder   Kind = "order"
	AskApply   Kind = "apply"
	AskPlans   Kind = "plans"
	AskBackup  Kind = "backup"
	AskRestore Kind = "restore"
	AskKeep    Kind = "keep"    // a paper into the store
	AskPapers  Kind = "papers"  // those of a kind
	AskReport  Kind = "report"  // days in numbers
	AskHistory Kind = "history" // a table or a picture of the past
	AskWalk    Kind = "walk"    // open valve after valve and watch; ends when the peer goes
)

// Request is one line from a peer.
type Request struct {
	Kind    Kind         `json:"kind"`
	Subject string       `json:"subject,omitempty"` // why
	From    uint64       `json:"from,omitempty"`    // journal: first sequence number wanted; 0 = the last N
	N       int          `json:"n,omitempty"`       // journal: how many at most
	Follow  bool         `json:"follow,omitempty"`  // journal: go on as it grows
	Order   *Order       `json:"order,omitempty"`   // order
	Plan    string       `json:"plan,omitempty"`    // apply: a hash, or "" for the files on disk
	Note    string       `json:"note,omitempty"`    // apply, restore
	Size    int64        `json:"size,omitempty"`    // restore: bytes of the backup, which follow the line
	Paper   *Paper       `json:"paper,omitempty"`   // keep
	Report  *report.Ask  `json:"report,omitempty"`  // report; nil = today
	History *history.Ask `json:"history,omitempty"` // history; nil = all of the last 24 h
	Walk    *WalkAsk     `json:"walk,omitempty"`    // walk; nil = all zones
}

// The kinds of paper that a person may write.
const (
	PaperDrain = "drain" // a collected drain sample; key: zone and time
	PaperCatch = "catch" // a catch test of the emitters; key: zone
)

// Paper is something measured by a person, as the store keeps it. Its body belongs to
// the kind; Because is its line in the journal.
type Paper struct {
	Kind    string          `json:"kind"`
	Key     string          `json:"key"`
	Zone    string          `json:"zone,omitempty"`
	At      time.Time       `json:"at"`
	By      string          `json:"by,omitempty"`
	Because string          `json:"because,omitempty"`
	Body    json.RawMessage `json:"body"`
}

// Order is what a person asks, as it goes over the socket.
type Order struct {
	Kind     zones.OrderKind `json:"kind"`
	Zone     string          `json:"zone,omitempty"`
	Subject  string          `json:"subject,omitempty"`
	For      Duration        `json:"for,omitempty"`
	VolumeML float64         `json:"volume_ml,omitempty"`   // mL a plant
	With     string          `json:"with,omitempty"`        // exchange: the probe that takes over
	Label    string          `json:"label,omitempty"`       // assign, label
	Keep     bool            `json:"keep_offset,omitempty"` // exchange: the offset stays
	Anyway   bool            `json:"anyway,omitempty"`      // exchange: whatever serial numbers say
	Note     string          `json:"note,omitempty"`
}

// Duration is a duration that reads and writes as Go's, "1h30m".
type Duration time.Duration

// MarshalText gives "1h30m0s".
func (d Duration) MarshalText() ([]byte, error) { return []byte(time.Duration(d).String()), nil }

// UnmarshalText reads what MarshalText gives.
func (d *Duration) UnmarshalText(b []byte) error {
	v, err := time.ParseDuration(string(b))
	*d = Duration(v)
	return err
}

// Reply is one line to a peer. Exactly one of the pointers and lists is set in
// a reply that is no error.
type Reply struct {
	Done    bool           `json:"done,omitempty"` // nothing follows
	Error   string         `json:"error,omitempty"`
	Hint    string         `json:"hint,omitempty"`
	View    *zones.View    `json:"view,omitempty"`
	Lines   []Line         `json:"lines,omitempty"`
	Why     *Why           `json:"why,omitempty"`
	Answer  *zones.Answer  `json:"answer,omitempty"`
	Applied *Applied       `json:"applied,omitempty"`
	Plans   []Plan         `json:"plans,omitempty"`
	Papers  []Paper        `json:"papers,omitempty"`
	Report  *report.Report `json:"report,omitempty"`
	Data    []byte         `json:"data,omitempty"` // backup, trace, history: a piece of the file
	Walk    *WalkNews      `json:"walk,omitempty"`
}

// Line is one entry of the journal.
type Line struct {
	Seq uint64    `json:"seq"`
	At  time.Time `json:"at"`
	zones.Entry
}

// Applied says what putting a plan in force did.
type Applied struct {
	Plan     string   `json:"plan"`               // hash in force now
	Changes  []string `json:"changes,omitempty"`  // in words
	Problems []string `json:"problems,omitempty"` // why it was refused: file:line:column: what
}

// Plan is one configuration that was in force.
type Plan struct {
	Hash    string    `json:"hash"`
	Since   time.Time `json:"since"` // put in force, last
	InForce bool      `json:"in_force"`
	By      string    `json:"by,omitempty"`
	Note    string    `json:"note,omitempty"`
}

// Why answers "why is it so?" for one subject.
type Why struct {
	Subject  string       `json:"subject"`
	Kind     string       `json:"kind"` // zone, valve, probe, controller, supply, room, code
	State    string       `json:"state,omitempty"`
	Reason   zones.Reason `json:"reason,omitempty"`
	Because  string       `json:"because"`
	Next     string       `json:"next,omitempty"` // what happens next
	Rule     string       `json:"rule,omitempty"`
	Do       string       `json:"do,omitempty"` // what a person can do
	Numbers  []Number     `json:"numbers,omitempty"`
	Warnings []string     `json:"warnings,omitempty"`
	// Standing are all interlocks that refuse the room water now, in their order.
	Standing []zones.StandingView `json:"standing,omitempty"`
}

// Number is one fact that a Why rests on, name and value in words.
type Number struct {
	Name  string `json:"name"`
	Value string `json:"value"`
}
