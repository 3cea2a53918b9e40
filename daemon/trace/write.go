package trace

import (
	"bufio"
	"encoding/json"
	"io"
	"time"

	"rillgate/zones"
)

// outLayout is RFC 3339 in UTC with milliseconds.
const outLayout = "2006-01-02T15:04:05.000Z07:00"

func stampText(t time.Time) string { return t.UTC().Format(outLayout) }

// The lines that a replay writes. The order of their fields is fixed; what the
// reader of a trace has to find stands first.

type commandLine struct {
	At     string       `json:"at"`
	Kind   string       `json:"kind"`
	Valve  string       `json:"valve"`
	Open   bool         `json:"open"`
	Run    string       `json:"run"` // "" for the closes before a first run
	Reason zones.Reason `json:"reason"`
	Zone   string       `json:"zone,omitempty"`
	Output string       `json:"output"` // "north/1"
	Epoch  uint32       `json:"epoch"`
	Seq    uint32       `json:"seq"`
	Boot   string       `json:"boot,omitempty"`
	Until  int64        `json:"until_ms,omitempty"`
}

type recordLine struct {
	At     string           `json:"at"`
	Kind   string           `json:"kind"`
	Record zones.RecordKind `json:"record"`
	Seq    uint64           `json:"seq"`
	Zone   string           `json:"zone,omitempty"`
	Run    string           `json:"run,omitempty"`
	Body   *zones.Record    `json:"body"` // as the ledger keeps it
}

type stateLine struct {
	At      string          `json:"at"`
	Kind    string          `json:"kind"`
	Zone    string          `json:"zone"`
	State   zones.ZoneState `json:"state"`
	Reason  zones.Reason    `json:"reason"`
	Because string          `json:"because"`
}

type alarmLine struct {
	At      string       `json:"at"`
	Kind    string       `json:"kind"`
	Code    zones.Reason `json:"code"`
	Subject string       `json:"subject"`
	Active  bool         `json:"active"`
	Because string       `json:"because,omitempty"`
}

type entryLine struct {
	At    string       `json:"at"`
	Kind  string       `json:"kind"`
	Entry *zones.Entry `json:"entry"`
}

type answerLine struct {
	At       string          `json:"at"`
	Kind     string          `json:"kind"`
	Order    zones.OrderKind `json:"order"`
	ID       string          `json:"id"`
	Subject  string          `json:"subject"`
	Accepted bool            `json:"accepted"`
	Reason   zones.Reason    `json:"reason"`
	Because  string          `json:"because"`
}

type breachLine struct {
	At        string `json:"at"`
	Kind      string `json:"kind"`
	Invariant string `json:"invariant"`
	Detail    string `json:"detail"`
}

// writer turns effects into lines. Its first error stands.
type writer struct {
	out    *bufio.Writer
	encode *json.Encoder
	err    error
}

func newWriter(out io.Writer) *writer {
	w := &writer{out: bufio.NewWriterSize(out, 64<<10)}
	w.encode = json.NewEncoder(w.out)
	w.encode.SetEscapeHTML(false)
	return w
}

// effects writes one line for each effect, in their order.
func (w *writer) effects(at time.Time, effects []zones.Effect) {
	if len(effects) == 0 || w.err != nil {
		return
	}
	stamp := stampText(at)
	for _, e := range effects {
		if err := w.encode.Encode(lineOf(stamp, e)); err != nil && w.err == nil {
			w.err = err
		}
	}
}

func (w *writer) flush() error {
	if err := w.out.Flush(); err != nil && w.err == nil {
		w.err = err
	}
	return w.err
}

func lineOf(at string, e zones.Effect) any {
	switch e := e.(type) {
	case *zones.Command:
		return commandLine{at, "command", e.Valve, e.Open, e.Run, e.Reason, e.Zone, e.Output.String(), e.Epoch, e.Seq, e.Boot, e.UntilMS}
	case *zones.Record:
		return recordOf(at, e)
	case *zones.State:
		return stateLine{at, "state", e.Zone, e.State, e.Reason, e.Because}
	case *zones.Alarm:
		return alarmLine{at, "alarm", e.Code, e.Subject, e.Active, e.Because}
	case *zones.Entry:
		return entryLine{at, "entry", e}
	case *zones.Answer:
		return answerLine{at, "answer", e.Kind, e.Order, e.Subject, e.Accepted, e.Reason, e.Because}
	case *zones.Breach:
		return breachLine{at, "breach", e.Invariant, e.Detail}
	}
	return struct {
		At   string `json:"at"`
		Kind string `json:"kind"`
	}{at, "unknown"}
}

func recordOf(at string, r *zones.Record) recordLine {
	body := *r
	body.Wall = body.Wall.UTC()
	l := recordLine{At: at, Kind: "record", Record: r.Kind, Seq: r.Seq, Body: &body}
	switch {
	case r.Run != nil:
		l.Zone, l.Run = r.Run.Zone, r.Run.ID
	case r.Hold != nil:
		l.Zone = r.Hold.Zone
	}
	return l
}
