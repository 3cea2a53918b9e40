package daemon

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"rillgate/configs"
	"rillgate/daemon/operator"
	"rillgate/store"
	"rillgate/zones"
)

// Names of what is restored, in the state directory.
const (
	restoreName = "store.restore"        // checked, to be put in place at the next start
	replacedFor = "store.before-restore" // what it replaces
)

// Restore takes a backup in, checks it and has the daemon start anew with it: all is
// closed first. The ledger never goes back: it stays as it is, unless the backup
// knows of later records (another machine, a lost ledger); then what the backup
// remembers holds, and budgets count as spent until they are reset.
func (d *Daemon) Restore(ctx context.Context, r io.Reader, by, note string) (*operator.Applied, error) {
	if d.o.OneLife {
		return nil, &operator.Refusal{Text: "this demonstration does not start anew", Hint: "a backup is restored into a room that `rillgate run` keeps"}
	}
	path := filepath.Join(d.o.State, restoreName)
	tmp := path + ".part"
	defer os.Remove(tmp)
	if err := receive(tmp, r); err != nil {
		return nil, err
	}
	hash, err := d.inspect(tmp)
	if err != nil {
		return nil, err
	}
	if err := os.Rename(tmp, path); err != nil {
		return nil, fmt.Errorf("put the backup in place: %w", err)
	}
	because := "a backup is put in place; the daemon starts anew"
	err = d.post(ctx, func() {
		d.entry(d.now.Wall, &zones.Entry{Kind: "restore", Because: because, Source: "socket", By: by, Note: note})
		d.restart = true
	})
	if err != nil {
		return nil, err
	}
	return &operator.Applied{Plan: hash, Changes: []string{because,
		"the store it replaces is kept as " + replacedFor}}, nil
}

// receive writes what comes to a file, whole or not at all.
func receive(path string, r io.Reader) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o640)
	if err != nil {
		return fmt.Errorf("take the backup in: %w", err)
	}
	_, err = io.Copy(f, r)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return fmt.Errorf("take the backup in: %w", err)
	}
	return nil
}

// inspect reads a backup and gives its plan's hash; a file that is none, or another
// room's, is a refusal.
func (d *Daemon) inspect(path string) (string, error) {
	s, err := store.OpenReadOnly(path)
	if err != nil {
		return "", &operator.Refusal{Text: "this is no backup that can be used: " + err.Error(), Hint: "`rillgate backup FILE` writes one"}
	}
	defer s.Close()
	if _, err := s.Mirror(); err != nil {
		return "", &operator.Refusal{Text: "the backup is damaged: " + err.Error()}
	}
	p, err := s.PlanInForce()
	if errors.Is(err, store.ErrNotFound) {
		return "", nil // of a room that never had a plan
	}
	if err != nil {
		return "", &operator.Refusal{Text: "the backup is damaged: " + err.Error()}
	}
	if l, _ := configs.Parse(filesOf(&p)); l != nil && l.Plan.Room != d.o.Room {
		return "", &operator.Refusal{Text: fmt.Sprintf("the backup is of room %q, this is %q", l.Plan.Room, d.o.Room)}
	}
	return p.Hash, nil
}

// putRestored puts a checked backup in the place of the store.
func (d *Daemon) putRestored() error {
	path := filepath.Join(d.o.State, StoreName)
	restored := filepath.Join(d.o.State, restoreName)
	if _, err := os.Stat(restored); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	err := os.Rename(path, filepath.Join(d.o.State, replacedFor))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("keep the store that a backup replaces: %w", err)
	}
	if err := os.Rename(restored, path); err != nil {
		return fmt.Errorf("put the backup in place: %w", err)
	}
	return nil
}
