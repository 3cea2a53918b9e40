package daemon

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"

	"rillgate/configs"
	"rillgate/daemon/operator"
	"rillgate/store/ledger"
	"rillgate/zones"
)

// Names in the state directory.
const (
	storeName    = "store.db"
	storeSubject = "store" // of the alarm that tells of a damaged one
)

// stores are the ledger, without which nothing opens, and the store, without which
// the room runs on.
type stores struct {
	ledger Ledger
	closer io.Closer
	found  ledger.Recovered
	broken error // why the ledger is not to be written; nil = it is
}

// openStores opens both and gives what is remembered. Only another process that
// holds them is an error: with a store or ledger that cannot be used the room runs,
// closed if need be, and says so.
func (d *Daemon) openStores() (*zones.Memory, error) {
	f := &d.files
	l, found, err := ledger.Open(d.o.State, ledger.Options{})
	f.found = found
	switch {
	case errors.Is(err, ledger.ErrLocked):
		return nil, fmt.Errorf("use %s: %w", d.o.State, ErrOtherRuns)
	case err != nil:
		f.ledger, f.broken = deadLedger{err}, err
	default:
		f.ledger, f.closer = l, l
	}
	if found.Memory == nil {
		return zones.LostMemory(0), nil
	}
	return found.Memory, nil
}

// deadLedger stands in for one that cannot be opened: nothing becomes durable.
type deadLedger struct{ err error }

func (l deadLedger) Append(...*zones.Record) error { return l.err }

// tell journals what the opening found.
func (f *stores) tell(d *Daemon) {
	if f.found.Detail != "" {
		d.entry(d.now.Wall, &zones.Entry{Kind: "ledger", Because: f.found.Detail})
		d.o.Log.Warn("ledger", "found", f.found.Detail)
	}
	if f.broken != nil {
		d.o.Log.Error("the ledger cannot be used: nothing will open", "error", f.broken)
	}
}

func (f *stores) shelf() shelf { return nil }

func (f *stores) lastGood() *configs.Loaded { return nil }

func (f *stores) keepPlan(d *Daemon, l *configs.Loaded, by, note string) {}

func (f *stores) plan(hash string) (map[string][]byte, error) {
	return nil, &operator.Refusal{Text: "no store", Hint: ""}
}

func (f *stores) plans(inForce string) ([]operator.Plan, error) { return nil, nil }

func (f *stores) backup(w io.Writer) error { return errors.New("backup is not built yet") }

func (f *stores) close() error {
	if f.closer != nil {
		return f.closer.Close()
	}
	return nil
}

var _ = filepath.Join
