package power

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"time"

	"rillgate/zones"
)

// fact is one line of what happened in the room, told when it had happened and before
// anything followed from it.
type fact struct {
	At     time.Duration `json:"at"` // since the room began, over all lives of the daemon
	Kind   factKind      `json:"kind"`
	Zone   string        `json:"zone,omitempty"`
	Run    string        `json:"run,omitempty"`
	Output string        `json:"output,omitempty"`
	Epoch  uint32        `json:"epoch,omitempty"`
	Seq    uint32        `json:"seq,omitempty"`
	Open   time.Duration `json:"open,omitempty"` // how long the run has held the output open
}

type factKind string

// The kinds of fact.
const (
	factGrant     factKind = "grant"     // an opening left for a controller
	factOpen      factKind = "open"      // an output was held open by a run, so long by now
	factHold      factKind = "hold"      // a person was told that a zone is held
	factReleasing factKind = "releasing" // a person is about to end it
	factStop      factKind = "stop"      // a person was told that a zone is stopped
	factResetting factKind = "resetting" // a person is about to end it
	factLife      factKind = "life"      // the daemon started
)

// book takes facts down in a file beside the card; the writer may be killed.
type book struct {
	file *os.File
	err  error
}

func openBook(path string) (*book, error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_WRONLY|os.O_APPEND, 0o600)
	if err != nil {
		return nil, fmt.Errorf("open the book of facts: %w", err)
	}
	return &book{file: f}, nil
}

// tell keeps its first error for the one who asks at the end.
func (b *book) tell(f fact) {
	line, err := json.Marshal(f)
	if err == nil {
		_, err = b.file.Write(append(line, '\n'))
	}
	if b.err == nil {
		b.err = err
	}
}

// toldSoFar gives the length of the book in bytes.
func toldSoFar(path string) int64 {
	info, err := os.Stat(path)
	if err != nil {
		return 0
	}
	return info.Size()
}

// known is the sum of facts.
type known struct {
	At      time.Duration
	Epoch   uint32
	Last    fact // the grant with the highest epoch and seq
	Runs    map[string]fact
	Held    map[string]bool
	Stopped map[string]bool
	Freed   map[string]int // how often a hold or stop was about to end
}

// readFacts sums up the first bytes of a book.
func readFacts(path string, bytesOf int64) (*known, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read the book of facts: %w", err)
	}
	k := &known{Runs: map[string]fact{}, Held: map[string]bool{}, Stopped: map[string]bool{}, Freed: map[string]int{}}
	for _, line := range bytes.Split(data[:min(bytesOf, int64(len(data)))], []byte("\n")) {
		if len(line) == 0 {
			continue
		}
		var f fact
		if err := json.Unmarshal(line, &f); err != nil {
			return nil, fmt.Errorf("read the book of facts: %w", err)
		}
		k.take(f)
	}
	return k, nil
}

func (k *known) take(f fact) {
	k.At = max(k.At, f.At)
	switch f.Kind {
	case factGrant:
		if f.Epoch > k.Last.Epoch || f.Epoch == k.Last.Epoch && f.Seq > k.Last.Seq {
			k.Last = f
		}
		k.Epoch = max(k.Epoch, f.Epoch)
	case factOpen:
		k.Runs[f.Run+" "+f.Output] = f
	case factHold:
		k.Held[f.Zone] = true
	case factReleasing:
		k.Held[f.Zone] = false
		k.Freed[f.Zone]++
	case factStop:
		k.Stopped[f.Zone] = true
	case factResetting:
		k.Stopped[f.Zone] = false
		k.Freed[f.Zone]++
	}
}

// charged gives what a memory charges one run with on one output.
func charged(m *zones.Memory, run, output string) (sum time.Duration) {
	om := m.Outputs[output]
	if om == nil {
		return 0
	}
	for _, c := range om.Charges {
		if c.Run == run {
			sum += c.Amount
		}
	}
	return sum
}

// spentAll reports whether the budget of an output counts as spent.
func spentAll(m *zones.Memory, output string) bool {
	if om := m.Outputs[output]; om != nil {
		return om.Spent
	}
	return m.Spent
}
