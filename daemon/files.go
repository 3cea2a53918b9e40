package daemon

import (
	"errors"
	"fmt"
	"path/filepath"

	"rillgate/store"
	"rillgate/store/ledger"
	"rillgate/zones"
)

// Names in the state directory, and the subject of the alarm about the store.
const (
	StoreName    = "store.db"
	storeSubject = "store"
)

// storeTries is how often a store that somebody looks at just now is tried.
const storeTries = 3

// stores are the ledger, without which nothing opens, and the store, without which
// the room runs on.
type stores struct {
	ledger  Ledger
	open    *ledger.Ledger // nil when the ledger cannot be used
	found   ledger.Recovered
	broken  error // why the ledger cannot be used
	store   *store.Store
	opened  store.Opened
	missing error // why there is no store
}

// openStores opens both and gives what is remembered. Only another process that
// holds the ledger is an error: with a store or a ledger that cannot be used the
// room runs, closed if need be, and says so.
func (d *Daemon) openStores() (*zones.Memory, error) {
	f := &d.files
	if err := d.putRestored(); err != nil {
		return nil, err
	}
	f.openStore(filepath.Join(d.o.State, StoreName), d.clock)
	o := ledger.Options{}
	if f.store != nil {
		o.Mirror, o.StoreExisted = f.mirror()
	}
	l, found, err := ledger.Open(d.o.State, o)
	f.found = found
	switch {
	case errors.Is(err, ledger.ErrLocked):
		return nil, fmt.Errorf("use %s: %w", d.o.State, ErrOtherRuns)
	case err != nil:
		f.ledger, f.broken = deadLedger{err}, err
	default:
		f.ledger, f.open = l, l
	}
	if found.Memory == nil {
		return zones.LostMemory(0), nil
	}
	return found.Memory, nil
}

func (f *stores) openStore(path string, clock Clock) {
	o := store.Options{Now: wallOf(clock)}
	for range storeTries {
		f.store, f.opened, f.missing = store.Open(path, o)
		if !errors.Is(f.missing, store.ErrLocked) {
			return
		}
	}
}

// mirror gives what the store remembers of the ledger, and whether a room has run
// on it. What cannot be read counts as use: a fresh start must be certain.
func (f *stores) mirror() (*zones.Memory, bool) {
	m, err := f.store.Mirror()
	used, usedErr := f.store.Used()
	return m, used || f.opened.Damaged || err != nil || usedErr != nil
}

// deadLedger stands in for one that cannot be opened: nothing becomes durable.
type deadLedger struct{ err error }

func (l deadLedger) Append(...*zones.Record) error { return l.err }

// diskSubject is what an alarm about the disk under the state folder is about.
const diskSubject = "disk"

// tell journals what the opening found.
func (f *stores) tell(d *Daemon) {
	if f.found.Detail != "" {
		d.entry(d.now.Wall, &zones.Entry{Kind: "ledger", Because: f.found.Detail})
		d.o.Log.Warn("ledger", "found", f.found.Detail)
	}
	if f.broken != nil {
		d.entry(d.now.Wall, &zones.Entry{Kind: "ledger", Reason: zones.StoreFailed, Because: f.broken.Error()})
		d.o.Log.Error("the ledger cannot be used: nothing will open", "error", f.broken)
	}
	if why, err := ledger.MountProblem(d.o.State); err == nil && why != "" {
		d.trouble(zones.AlarmStoreDamaged, diskSubject, why)
	}
	switch {
	case f.missing != nil:
		d.trouble(zones.AlarmStoreDamaged, storeSubject, "there is no journal and no history, watering goes on: "+f.missing.Error())
	case f.opened.Damaged:
		d.trouble(zones.AlarmStoreDamaged, storeSubject, fmt.Sprintf("the store was damaged (%s); it is kept as %s and a new one was begun", f.opened.Detail, filepath.Base(f.opened.Kept)))
	}
}

func (f *stores) close() error {
	var errs []error
	if f.store != nil {
		errs = append(errs, f.store.Close())
	}
	if f.open != nil {
		errs = append(errs, f.open.Close())
	}
	return errors.Join(errs...)
}
