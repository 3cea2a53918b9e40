package preview

import (
	"context"
	"fmt"
	"slices"
	"time"

	"rillgate/zones"
	"rillgate/zones/response"
	"rillgate/zones/simroom"
)

// MostDays is the longest preview.
const MostDays = 92

// before is simulated ahead of what is shown where it is not known how wet each bed is.
const before = 24 * time.Hour

// Options says what to simulate.
type Options struct {
	From    time.Time
	Days    int                         // 1 to MostDays
	Learned map[string]response.Learned // by zone; none = nothing was taught
	Level   map[string]float64          // %, moisture at From, by zone
	// Standing are sentences on what stands in the true room and not in the simulated
	// one: latches, holds. They are shown with the findings.
	Standing []string
	// Assigned are probes that a person gave to zones and that the files do not name.
	Assigned []zones.Probe
	Taught   func(l *response.Learned) zones.Taught // what the core is told of it; nil = nothing
}

// Run simulates a plan. It fails on days out of range, when ctx ends, and when the core
// breaks an invariant.
func Run(ctx context.Context, plan *zones.Plan, o Options) (*Result, error) {
	if o.Days < 1 || o.Days > MostDays {
		return nil, fmt.Errorf("simulate %d days: 1 to %d are possible", o.Days, MostDays)
	}
	w, err := newWorld(withAssigned(plan, o.Assigned), &o)
	if err != nil {
		return nil, err
	}
	if err := w.live(ctx); err != nil {
		return nil, err
	}
	return w.result(), nil
}

// newWorld puts the core on a room whose beds are as they were taught.
func newWorld(plan *zones.Plan, o *Options) (*world, error) {
	w := &world{o: o, plan: plan, books: map[string]*book{}}
	w.from, w.to = 0, time.Duration(o.Days)*24*time.Hour
	room := *plan
	room.Zones = slices.Clone(plan.Zones)
	options := simroom.Options{Start: o.From, Zones: map[string]simroom.ZoneOptions{}, IdleReports: 14 * time.Second,
		EmitterCV: -1, ProbeSpread: -1, ProbeNoise: -1, Jitter: -1, CrystalPPM: -1}
	if !allKnown(plan, o.Level) {
		w.from, w.to = before, w.to+before
		options.Start = o.From.Add(-before)
	}
	for i := range room.Zones {
		z := &room.Zones[i]
		b := newBed(z, o.Learned[z.ID], known(o.Level, z.ID))
		options.Zones[z.ID] = b.o
		w.books[z.ID] = &book{bed: b, refused: map[zones.Reason]int{}, levels: map[string]Levels{}, probes: probesOf(plan, z.ID)}
		z.VolumeML = 1000 * b.volumeL
	}
	var err error
	if w.sim, err = simroom.New(&room, options); err != nil {
		return nil, fmt.Errorf("make the simulated room: %w", err)
	}
	w.begin(asShown(plan))
	return w, nil
}

// withAssigned adds probes whose place the files do not name, and whose zone they do.
func withAssigned(plan *zones.Plan, more []zones.Probe) *zones.Plan {
	p := *plan
	p.Probes = slices.Clone(plan.Probes)
	for _, m := range more {
		named := slices.ContainsFunc(p.Probes, func(x zones.Probe) bool { return x.Place == m.Place || x.ID == m.ID })
		if !named && slices.ContainsFunc(p.Zones, func(z zones.Zone) bool { return z.ID == m.Zone }) {
			p.Probes = append(p.Probes, m)
		}
	}
	return &p
}

// asShown is the plan with probes that show what is so: simulated ones need no offset.
func asShown(plan *zones.Plan) *zones.Plan {
	p := *plan
	p.Probes = slices.Clone(plan.Probes)
	for i := range p.Probes {
		p.Probes[i].Offset = 0
	}
	return &p
}

func allKnown(plan *zones.Plan, levels map[string]float64) bool {
	for i := range plan.Zones {
		if known(levels, plan.Zones[i].ID) == nil {
			return false
		}
	}
	return true
}

func known(levels map[string]float64, zone string) *float64 {
	if x, ok := levels[zone]; ok {
		return &x
	}
	return nil
}

func probesOf(p *zones.Plan, zone string) (n int) {
	for i := range p.Probes {
		if p.Probes[i].Zone == zone {
			n++
		}
	}
	return n
}
