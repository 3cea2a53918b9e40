package simroom

import (
	"time"

	"rillgate/zones"
)

// DemoStory gives what happens in a demonstration day of a plan that begins at start:
//
//	12:00 to 13:00  one probe of the first zone is lost, and found again
//	14:10 to 14:30  the tank of the first supply that has a low input runs low
//	15:00 to 17:00  one plant of the last zone gets a third of its water
//
// on the room's own clock. That zones contend for a supply needs no fault: they ask in
// the same hours. What the plan has no subject for is left out; what was over before
// start comes the next day.
func DemoStory(p *zones.Plan, start time.Time) []Fault {
	s := story{plan: p, start: start}
	if id, _ := s.probesOf(true); id != "" {
		s.add(Fault{Kind: ProbeLost, Subject: id}, 12*60, time.Hour)
	}
	for i := range p.Supplies {
		if p.Supplies[i].Low != "" {
			s.add(Fault{Kind: TankLow, Subject: p.Supplies[i].ID}, 14*60+10, 20*time.Minute)
			break
		}
	}
	if _, id := s.probesOf(false); id != "" {
		s.add(Fault{Kind: EmittersBlocked, Subject: id, Value: 0.33}, 15*60, 2*time.Hour)
	}
	return s.faults
}

type story struct {
	plan   *zones.Plan
	start  time.Time
	faults []Fault
}

// add sets a fault at a minute of the day.
func (s *story) add(f Fault, minute int, long time.Duration) {
	loc := s.plan.Location()
	y, m, d := s.start.In(loc).Date()
	at := time.Date(y, m, d, 0, minute, 0, 0, loc)
	if at.Before(s.start) {
		at = time.Date(y, m, d+1, 0, minute, 0, 0, loc)
	}
	f.At, f.For = at.Sub(s.start), long
	s.faults = append(s.faults, f)
}

// probesOf gives the first and the last probe of the first zone, or of the last one.
func (s *story) probesOf(first bool) (head, tail string) {
	if len(s.plan.Zones) == 0 {
		return "", ""
	}
	zone := s.plan.Zones[len(s.plan.Zones)-1].ID
	if first {
		zone = s.plan.Zones[0].ID
	}
	for i := range s.plan.Probes {
		if p := &s.plan.Probes[i]; p.Zone == zone {
			if head == "" {
				head = p.ID
			}
			tail = p.ID
		}
	}
	return head, tail
}
