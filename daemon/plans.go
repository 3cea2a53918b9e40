package daemon

import (
	"context"
	"errors"
	"fmt"
	"io"

	"rillgate/configs"
	"rillgate/daemon/operator"
	"rillgate/store"
)

var errNoStore = &operator.Refusal{Text: "there is no store", Hint: "the alarm store-damaged says why; `rillgate why store-damaged`"}

// savePlan keeps an accepted plan, so that it survives a restart. It waits for the
// disk: never on the loop.
func (d *Daemon) savePlan(l *configs.Loaded, by, note string) error {
	if d.files.store == nil {
		return nil // told by its alarm
	}
	wall, _ := d.clock.Now()
	return d.files.store.SavePlan(store.Plan{Hash: l.Hash, Room: l.Files[configs.RoomFile], Schedule: l.Files[configs.ScheduleFile],
		Gateway: l.Files[configs.GatewayFile], Accepted: wall, By: by, Note: note})
}

// planFiles gives the three files of an earlier plan.
func (d *Daemon) planFiles(hash string) (map[string][]byte, error) {
	if d.files.store == nil {
		return nil, errNoStore
	}
	p, err := d.files.store.Plan(hash)
	if errors.Is(err, store.ErrNotFound) {
		return nil, &operator.Refusal{Text: fmt.Sprintf("no plan %q is kept", hash), Hint: "`rillgate plans` lists them"}
	}
	if err != nil {
		return nil, err
	}
	return filesOf(&p), nil
}

// Plans lists the plans that were in force, the newest first.
func (d *Daemon) Plans(context.Context) ([]operator.Plan, error) {
	if d.files.store == nil {
		return nil, errNoStore
	}
	all, err := d.files.store.Plans()
	if err != nil {
		return nil, err
	}
	inForce := ""
	if l := d.shown.Load().loaded; l != nil {
		inForce = l.Hash
	}
	return PlansOf(all, inForce), nil
}

// PlansOf lists plans of a store as the operator's desk does.
func PlansOf(all []store.Plan, inForce string) []operator.Plan {
	out := make([]operator.Plan, len(all))
	for i := range all {
		out[i] = operator.Plan{Hash: all[i].Hash, Since: all[i].Accepted, By: all[i].By, Note: all[i].Note, InForce: all[i].Hash == inForce}
	}
	return out
}

// Backup writes a copy of the store whose mirror is the whole ledger: one file that
// holds both, as they were at one moment.
func (d *Daemon) Backup(_ context.Context, w io.Writer) error {
	if d.files.store == nil {
		return errNoStore
	}
	if d.files.open == nil {
		return fmt.Errorf("copy the ledger: %w", d.files.broken)
	}
	if err := d.files.store.SaveMirror(d.files.open.Memory()); err != nil {
		return err
	}
	_, err := d.files.store.WriteTo(w)
	return err
}
