package main

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"rillgate/daemon"
	"rillgate/daemon/operator"
	days "rillgate/daemon/report"
	"rillgate/store"
	"rillgate/zones"
)

// look asks the running daemon, and where none runs, its store, read-only.
func (f *flags) look(cmd *cobra.Command, req operator.Request, take func(operator.Reply) error) error {
	return f.orStore(f.ask(cmd.Context(), req, take), func(dir string, s *store.Store) error {
		reply, at, err := fromStore(dir, s, req)
		if err != nil {
			return err
		}
		if !f.dead {
			f.dead = true
			fmt.Fprintln(cmd.ErrOrStderr(), "no daemon runs; "+recordedAt(at))
		}
		if err := s.Close(); err != nil { // who reads what is printed may take long: a daemon that starts needs the store
			return err
		}
		return take(reply)
	})
}

// orStore passes on how asking the daemon ended, but where none runs, reads its store
// instead. Where that cannot be read either, that no daemon runs says more.
func (f *flags) orStore(asked error, read func(dir string, s *store.Store) error) error {
	if !errors.Is(asked, operator.ErrNotRunning) {
		return asked
	}
	dir, err := f.stateDir()
	if err != nil {
		return err
	}
	s, err := store.OpenReadOnly(storePath(dir))
	if err != nil {
		return asked
	}
	defer s.Close()
	return read(dir, s)
}

func recordedAt(at time.Time) string {
	if at.IsZero() {
		return "this is what its store remembers"
	}
	return "as last recorded at " + at.Local().Format(time.DateTime)
}

// fromStore answers a request from a store; at is when the answer held, zero where
// its lines say it themselves.
func fromStore(dir string, s *store.Store, req operator.Request) (r operator.Reply, at time.Time, err error) {
	switch req.Kind {
	case operator.AskJournal:
		r.Lines, err = storedLines(s, req)
	case operator.AskPlans:
		r.Plans, err = storedPlans(s)
	case operator.AskView:
		if r.View, err = remembered(dir, s); err == nil {
			at = r.View.Wall
		}
	case operator.AskWhy:
		var v *zones.View
		if v, err = remembered(dir, s); err == nil {
			at = v.Wall
			r.Why, err = whyRemembered(v, req.Subject)
		}
		if err == nil && (r.Why.Kind == "valve" || r.Why.Kind == "probe" || r.Why.Kind == "output") {
			err = evidenceRemembered(dir, s, r.Why)
		}
		if err == nil && r.Why.Kind == "zone" {
			operator.WrittenOf(r.Why, func(kind string) ([]operator.Paper, error) { return daemon.PapersIn(s, kind) })
		}
	case operator.AskPapers:
		r.Papers, err = daemon.PapersIn(s, req.Subject)
	case operator.AskReport:
		r.Report, at, err = storedReport(dir, s, req)
	default:
		err = fmt.Errorf("ask %s: only a running daemon answers that", req.Kind)
	}
	return r, at, err
}

// whyRemembered explains a subject of a room that does not run.
func whyRemembered(v *zones.View, subject string) (*operator.Why, error) {
	y, err := operator.Explain(v, subject)
	if err != nil {
		return nil, err
	}
	switch y.Kind {
	case "room":
		if len(y.Standing) == 0 {
			y.State, y.Because = string(notRunning), "no daemon runs"
		}
		y.Numbers = []operator.Number{{Name: "plan", Value: v.Plan}}
	case "supply":
		y.Numbers = nil
		if y.State != "latched" {
			y.State, y.Because = string(notRunning), "no daemon runs: how it is now is not known"
		}
	case "valve":
		y.Numbers = slices.DeleteFunc(y.Numbers, func(n operator.Number) bool { return n.Name == "wanted" || n.Name == "flow" })
		fallthrough
	case "controller", "input", "output":
		if y.Kind == "output" {
			y.Numbers = slices.DeleteFunc(y.Numbers, func(n operator.Number) bool { return n.Name != "drives" })
		}
		y.State, y.Reason, y.Rule, y.Do, y.Because = string(notRunning), "", "", "", "no daemon runs: how it is now is not known"
	}
	return y, nil
}

// evidenceRemembered adds what the state directory knows of a valve or a probe.
func evidenceRemembered(dir string, s *store.Store, y *operator.Why) error {
	room, now, err := roomOfStore(dir, s)
	if err != nil {
		return err
	}
	e := daemon.EvidenceOf(room, now, y.Kind, y.Subject)
	e.Dead = true
	id, zone, place := daemon.OfWhat(room.View(now), y.Kind, y.Subject)
	e.Lines = daemon.NewestOf(y.Kind, daemon.KeptLines(s, daemon.LinesWanted(y.Kind, id, daemon.Through(e, zone)...)))
	met, _ := s.Probes() // a register that cannot be read costs two lines
	for i := range met {
		if met[i].Place == place && y.Kind == "probe" {
			e.First, e.Last = met[i].FirstSeen, met[i].LastSeen
		}
	}
	if y.Kind == "probe" {
		e.Lived(y, func(kind string) ([]operator.Paper, error) { return daemon.PapersIn(s, kind) })
	}
	e.Told(y)
	return nil
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

// storedReport reckons under the plan that was in force last; at is the last record.
func storedReport(dir string, s *store.Store, req operator.Request) (*days.Report, time.Time, error) {
	loaded, err := lastPlan(s)
	if err != nil {
		return nil, time.Time{}, err
	}
	now, at := time.Now(), time.Time{}
	if memory, err := lastMemory(dir, s); err == nil {
		at = memory.Wall
	}
	if at.After(now) {
		now = at // this box's clock is behind the daemon's
	}
	r, err := daemon.ReportOf(s, loaded.Plan, now, *req.Report)
	return r, at, err
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
