package main

import (
	"fmt"
	"path/filepath"
	"slices"
	"time"

	"rillgate/configs"
	"rillgate/daemon"
	"rillgate/store"
	"rillgate/store/ledger"
	"rillgate/zones"
)

// notRunning is the state of a zone while no daemon runs.
const notRunning = zones.ZoneState("not-running")

// remembered is the room as it was last recorded: budgets, latches, holds and totals
// from the ledger, numbers from the store's history. It has no state of a living room,
// for nobody knows it.
func remembered(dir string, s *store.Store) (*zones.View, error) {
	room, now, err := roomOfStore(dir, s)
	if err != nil {
		return nil, err
	}
	v := room.View(now)
	lifeless(&v)
	book, err := daemon.RegisterIn(s)
	if err != nil {
		return nil, fmt.Errorf("read the register of probes: %w", err)
	}
	book.Number(&v)
	return &v, lastHeard(s, &v, time.Now())
}

// roomOfStore is a room that never steps, with what is remembered of one.
func roomOfStore(dir string, s *store.Store) (*zones.Room, zones.Instant, error) {
	loaded, err := lastPlan(s)
	if err != nil {
		return nil, zones.Instant{}, err
	}
	memory, err := lastMemory(dir, s)
	if err != nil {
		return nil, zones.Instant{}, err
	}
	room, now := roomOf(loaded.Plan, memory)
	return room, now, nil
}

// roomOf is a room that never steps, of a plan and what is remembered.
func roomOf(p *zones.Plan, memory *zones.Memory) (*zones.Room, zones.Instant) {
	memory.Clean = true // looking is no start after a crash
	now := zones.Instant{Wall: memory.Wall, Mono: time.Hour, Trusted: true}
	room, _ := zones.NewRoom(p, memory, now)
	return room, now
}

// lastPlan gives the plan that was in force last.
func lastPlan(s *store.Store) (*configs.Loaded, error) {
	p, err := s.PlanInForce()
	if err != nil {
		return nil, fmt.Errorf("read the plan in force: %w", err)
	}
	loaded, _ := configs.Parse(map[string][]byte{configs.RoomFile: p.Room, configs.ScheduleFile: p.Schedule, configs.GatewayFile: p.Gateway})
	if loaded == nil {
		return nil, fmt.Errorf("read plan %s: this program does not accept it any more", p.Hash)
	}
	return loaded, nil
}

// lastMemory reads the ledger, which holds what the store's copy of it may not have
// yet; without a ledger that can be read the copy has to do.
func lastMemory(dir string, s *store.Store) (*zones.Memory, error) {
	if memory := ledgerMemory(dir); memory != nil {
		return memory, nil
	}
	memory, err := s.Mirror()
	if err != nil {
		return nil, fmt.Errorf("read what is remembered: %w", err)
	}
	if memory == nil {
		memory = zones.NewMemory()
	}
	return memory, nil
}

// ledgerMemory reads the ledger, which a daemon may be writing; nil = it is lost, new, or
// cannot be read.
func ledgerMemory(dir string) *zones.Memory {
	if found, err := ledger.Inspect(dir); err == nil && !found.Lost && !found.Fresh {
		return found.Memory
	}
	return nil
}

// lifeless takes away what only a running daemon knows. Latches, stops and holds stay:
// they are on disk and will stand at the next start.
func lifeless(v *zones.View) {
	const because = "no daemon runs"
	v.Starting, v.BrokerUp, v.Trusted = false, false, false
	v.Standing = slices.DeleteFunc(v.Standing, func(s zones.StandingView) bool { return !s.Latched })
	v.Alarms = slices.DeleteFunc(v.Alarms, func(a zones.AlarmView) bool { return !onDisk(a.Code) })
	if h := v.Healthy; h != nil {
		h.Held, h.State, h.Because, h.Alarms = false, zones.HealthyUnknown, because+": nothing holds it", nil
	}
	for i := range v.Zones {
		z := &v.Zones[i]
		z.State, z.Reason, z.Because, z.Next = notRunning, zones.NoReason, because, "nothing, until `rillgate run`"
		z.Window, z.WindowEnds, z.OpenUntil, z.Below, z.StopAt = "none", nil, nil, nil, nil
		switch {
		case len(z.Latches) > 0:
			z.Reason, z.Because = z.Latches[0].Code, because+"; latched: "+z.Latches[0].Because
		case z.HoldUntil != nil:
			z.Reason, z.Because = zones.HeldByPerson, because+"; a hold stands"
		}
	}
	for i := range v.Supplies {
		s := &v.Supplies[i]
		s.Open, s.Waiting, s.Because = 0, nil, because
		if s.Reason = zones.NoReason; len(s.Latches) > 0 {
			s.Reason, s.Because = s.Latches[0].Code, because+"; latched: "+s.Latches[0].Because
		}
	}
	for i := range v.Controllers {
		v.Controllers[i].Because = because
	}
	for i := range v.Probes {
		v.Probes[i].Quality, v.Probes[i].Because = zones.ProbeLost, because
	}
}

// onDisk reports whether an alarm comes from what the ledger holds.
func onDisk(code zones.Reason) bool {
	e, _ := code.Explain()
	return e.Latch || code == zones.AlarmUnfinishedRun
}

// lastHeard puts the last numbers of history, of the day before the last record,
// beside zones and probes.
func lastHeard(s *store.Store, v *zones.View, now time.Time) error {
	last := func(kind store.Kind, id string) (value *float64, age *int, err error) {
		points, err := s.History(kind, id, v.Wall.Add(-24*time.Hour), v.Wall.Add(time.Hour))
		if err != nil || len(points) == 0 {
			return nil, nil, err
		}
		p := points[len(points)-1]
		number, seconds := float64(p.Value)/1000, int(now.Sub(p.At).Seconds())
		return &number, &seconds, nil
	}
	var err error
	for i := range v.Zones {
		z := &v.Zones[i]
		if z.Moisture, z.AgeSeconds, err = last(store.ZoneMoisture, z.ID); err != nil {
			return err
		}
	}
	for i := range v.Probes {
		p := &v.Probes[i]
		if p.Moisture, p.AgeSeconds, err = last(store.ProbeMoisture, p.ID); err != nil {
			return err
		}
	}
	return nil
}

// storePath is where a state directory has its store.
func storePath(dir string) string { return filepath.Join(dir, daemon.StoreName) }
