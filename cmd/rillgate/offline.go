package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"rillgate/configs"
	"rillgate/daemon"
	"rillgate/daemon/operator"
	"rillgate/store"
	"rillgate/zones"
)

// look asks the running daemon, and where none runs, its store, read-only.
func (f *flags) look(cmd *cobra.Command, req operator.Request, take func(operator.Reply) error) error {
	err := f.ask(cmd.Context(), req, take)
	if !errors.Is(err, operator.ErrNotRunning) {
		return err
	}
	dir, dirErr := f.stateDir()
	if dirErr != nil {
		return dirErr
	}
	s, openErr := store.OpenReadOnly(filepath.Join(dir, daemon.StoreName))
	if openErr != nil {
		return err // that no daemon runs says more
	}
	defer s.Close()
	fmt.Fprintln(cmd.ErrOrStderr(), "no daemon runs: this is what its store remembers")
	reply, err := fromStore(cmd.Context(), s, req)
	if err != nil {
		return err
	}
	return take(reply)
}

// fromStore answers a request from a store.
func fromStore(_ context.Context, s *store.Store, req operator.Request) (r operator.Reply, err error) {
	switch req.Kind {
	case operator.AskJournal:
		r.Lines, err = storedLines(s, req)
	case operator.AskPlans:
		r.Plans, err = storedPlans(s)
	case operator.AskView:
		r.View, err = storedView(s)
	case operator.AskWhy:
		var v *zones.View
		if v, err = storedView(s); err == nil {
			r.Why, err = operator.Explain(v, req.Subject)
		}
	default:
		err = fmt.Errorf("ask %s: only a running daemon answers that", req.Kind)
	}
	return r, err
}

func storedLines(s *store.Store, req operator.Request) (lines []operator.Line, err error) {
	var all []store.JournalEntry
	if req.From > 0 {
		all, err = s.Journal(req.From, req.N)
	} else {
		all, err = s.JournalTail(req.N, nil)
	}
	for i := range all {
		lines = append(lines, operator.Line(all[i]))
	}
	return lines, err
}

func storedPlans(s *store.Store) ([]operator.Plan, error) {
	all, err := s.Plans()
	if err != nil {
		return nil, err
	}
	inForce := ""
	for i := range all {
		if all[i].InForce {
			inForce = all[i].Hash
		}
	}
	return daemon.PlansOf(all, inForce), nil
}

// storedView is the room as a daemon would find it at its start: nothing heard yet,
// but budgets, latches, holds and totals as they are remembered.
func storedView(s *store.Store) (*zones.View, error) {
	p, err := s.PlanInForce()
	if err != nil {
		return nil, fmt.Errorf("read the plan in force: %w", err)
	}
	loaded, _ := configs.Parse(map[string][]byte{configs.RoomFile: p.Room, configs.ScheduleFile: p.Schedule, configs.GatewayFile: p.Gateway})
	if loaded == nil {
		return nil, fmt.Errorf("read plan %s: this program does not accept it any more", p.Hash)
	}
	memory, err := s.Mirror()
	if err != nil {
		return nil, fmt.Errorf("read what is remembered: %w", err)
	}
	if memory == nil {
		memory = zones.NewMemory()
	}
	now := zones.Instant{Wall: time.Now(), Mono: time.Hour}
	room, _ := zones.NewRoom(loaded.Plan, memory, now)
	v := room.View(now)
	return &v, lastHeard(s, &v)
}

// lastHeard puts the last numbers of history, a day old at most, beside the probes.
func lastHeard(s *store.Store, v *zones.View) error {
	for i := range v.Probes {
		p := &v.Probes[i]
		points, err := s.History(store.ProbeMoisture, p.ID, v.Wall.Add(-24*time.Hour), v.Wall)
		if err != nil {
			return err
		}
		if len(points) == 0 {
			continue
		}
		last := points[len(points)-1]
		moisture, age := float64(last.Value)/1000, int(v.Wall.Sub(last.At).Seconds())
		p.Moisture, p.AgeSeconds = &moisture, &age
	}
	return nil
}
