package daemon

import (
	"fmt"
	"math"

	"rillgate/store"
	"rillgate/zones"
	"rillgate/zones/response"
)

// LearnedIn gives what the zones of a plan have taught by what a store keeps, by zone.
// A zone that the plan has changed since begins anew and is not in it.
func LearnedIn(s *store.Store, plan *zones.Plan) (map[string]response.Learned, error) {
	kept, err := s.Papers(learnedPaper)
	if err != nil {
		return nil, fmt.Errorf("read what zones have taught: %w", err)
	}
	t, err := newTeacher(plan, kept)
	if err != nil {
		return nil, err
	}
	all := map[string]response.Learned{}
	for i := range plan.Zones {
		if l, ok := t.model.Learned(plan.Zones[i].ID); ok && taughtSomething(&l) {
			all[l.Zone] = l
		}
	}
	return all, nil
}

func taughtSomething(l *response.Learned) bool {
	return l.PointsPerLitre.Known() || l.UptakeDay.Known() || l.UptakeNight.Known() || l.Field.Known()
}

// TaughtOf is what the core is told of what a zone has taught.
func TaughtOf(l *response.Learned) zones.Taught {
	n := zones.Taught{Zone: l.Zone, Day: l.UptakeDay, Night: l.UptakeNight, At: l.UptakeAt, Slope: l.UptakeSlope}
	if l.Field.N >= sureFieldShots && l.Field.HalfWidth <= sureFieldHalf {
		n.Field = zones.Level(math.Round(l.Field.Value * 1000))
	}
	return n
}
