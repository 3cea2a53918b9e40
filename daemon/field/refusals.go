package field

import (
	"fmt"
	"sort"
	"sync"
)

// MaxPayload is the longest payload that is looked at, bytes.
const MaxPayload = 64 << 10

// The causes for which something received is refused, or counted with a warning
// (unknown-name: what else the pack said was taken).
const (
	causeTopic       = "topic"
	causeTooLong     = "too-long"
	causeJSON        = "json"
	causeDuplicate   = "duplicate-key"
	causeLabel       = "unknown-label"
	causeVersion     = "version"
	causeName        = "name"
	causeUnknownName = "unknown-name"
	causeUnit        = "unit"
	causeValue       = "value"
	causeTime        = "time"
	causeTooMany     = "too-many"
	causeReport      = "report"
	causeStatus      = "status"
	causeInput       = "input"
	causeRetained    = "retained-command"
)

// Fault says why something received was refused: a stable cause and a hint that
// tells the installer what would be right.
type Fault struct {
	Cause string
	Hint  string
}

// Error gives "cause: hint".
func (f *Fault) Error() string { return f.Cause + ": " + f.Hint }

func fault(cause, format string, args ...any) *Fault {
	return &Fault{Cause: cause, Hint: fmt.Sprintf(format, args...)}
}

// Refusal is what was refused for one cause since the start, with the last hint
// and the last topic.
type Refusal struct {
	Cause string `json:"cause"`
	Count uint64 `json:"count"`
	Hint  string `json:"hint"`
	Topic string `json:"topic"`
}

// refusals counts by cause. The causes are the constants above, and hints and
// topics are cut, so its memory is bounded.
type refusals struct {
	mu      sync.Mutex
	byCause map[string]*Refusal
}

const (
	maxHint  = 200
	maxTopic = 160
)

func (r *refusals) count(topic string, f *Fault) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.byCause == nil {
		r.byCause = make(map[string]*Refusal)
	}
	entry := r.byCause[f.Cause]
	if entry == nil {
		entry = &Refusal{Cause: f.Cause}
		r.byCause[f.Cause] = entry
	}
	entry.Count++
	entry.Hint, entry.Topic = cut(f.Hint, maxHint), cut(topic, maxTopic)
}

// list gives the refusals by cause, in the order of the alphabet.
func (r *refusals) list() []Refusal {
	r.mu.Lock()
	defer r.mu.Unlock()
	out := make([]Refusal, 0, len(r.byCause))
	for _, entry := range r.byCause {
		out = append(out, *entry)
	}
	sort.Slice(out, func(i, j int) bool { return out[i].Cause < out[j].Cause })
	return out
}

// cut shortens to n bytes, and copies, so that no payload is kept alive.
func cut(s string, n int) string {
	if len(s) <= n {
		return string([]byte(s))
	}
	return string([]byte(s[:n])) + "..."
}
