package campaign

import (
	"fmt"
	"rillgate/zones/zonetest"
	"slices"
	"time"
	_ "time/tzdata" // rooms on machines without a zone database

	"rillgate/schedule"
	"rillgate/zones"
	"rillgate/zones/simroom"
	"rillgate/zones/substrate"
)

// setup is the room of a seed.
type setup struct {
	plans   []*zones.Plan // the first is the one that stands when all is calm
	options simroom.Options
	latency time.Duration // longest answer of the ledger
	grid    bool          // ticks come at whole seconds only
	settled time.Duration // how long it takes until each probe counts

	lookEvery time.Duration // what the room shows is looked at this often
	calmLook  time.Duration // and when all faults have stopped
}

func edge(a schedule.Anchor, d time.Duration) schedule.Edge {
	return schedule.Edge{Anchor: a, Offset: d}
}

func percentShot(v float64) schedule.Shot {
	return schedule.Shot{Kind: schedule.ByPercent, Value: v}
}

// howOftenHealthy gives the share of rooms with a healthy output. It is granted anew three
// times a lease, day and night: short leases with it take more time than all the rest.
func howOftenHealthy(c *Case, p *zones.Plan) float64 {
	if c.Sparse && p.Lease < time.Minute {
		return 0.05
	}
	return 0.3
}

// newSetup draws the room: controllers, supply and master, zones and what each does
// in a day, and how its probes and its ledger are.
func newSetup(c *Case) *setup {
	d := newDice(c.Seed, "room")
	p := basePlan(d)
	allowSoaks(newDice(c.Seed, "soaks"), p)
	if newDice(c.Seed, "healthy").chance(howOftenHealthy(c, p)) {
		p.Healthy = &zones.Output{Controller: "north", Number: 9}
	}
	s := &setup{latency: pick(d, []time.Duration{0, 20 * time.Millisecond, 300 * time.Millisecond}), grid: d.chance(0.7)}
	period := pick(d, []time.Duration{time.Minute, 2 * time.Minute, 5 * time.Minute})
	if c.Sparse {
		period = 5 * time.Minute
	}
	for i := range p.Zones {
		p.Zones[i].Moisture.StaleAfter = max(3*time.Minute, 3*period)
		if i == 0 {
			watchRoots(&p.Zones[i])
		}
	}
	if c.Pressed {
		press(newDice(c.Seed, "pressure"), p)
	}
	s.plans = append([]*zones.Plan{p}, otherPlans(p)...)
	if c.Valves {
		without := s.plans[2]
		without.Valves = slices.DeleteFunc(slices.Clone(without.Valves), func(v zones.Valve) bool { return slices.Contains(p.Zones[0].Valves, v.ID) })
	}
	s.options = simroom.Options{
		Seed: c.Seed, Start: start(d, p.Calendar.Location), ReadingPeriod: period, NoStamps: d.chance(0.5),
		KeepReports: 4 * 8 * kept, CrystalPPM: 200, MeterAll: d.chance(0.3), CutOffLag: pick(d, []time.Duration{-1, 80 * time.Millisecond}), NoCutOff: c.NoCutOff,
		Uptime: pick(d, []time.Duration{time.Minute, 400 * 24 * time.Hour}), Serials: d.chance(0.3),
		RefusedAdvances: d.chance(0.3), Zones: map[string]simroom.ZoneOptions{},
	}
	s.lookEvery, s.calmLook = 5*time.Minute, 2*time.Minute
	if c.Sparse {
		s.options.IdleReports, s.options.InputPeriod = 14*time.Second, 150*time.Second
		s.lookEvery, s.calmLook = 20*time.Minute, 4*time.Minute
	}
	s.settled = 2*period + 10*time.Second
	if !s.options.NoStamps {
		s.settled += period // where readings carry times, the second advance is the third reading
	}
	for i := range p.Zones {
		z := &p.Zones[i]
		s.options.Zones[z.ID] = simroom.ZoneOptions{
			StartPercent: 40 + 15*d.unit(), UptakeDayLPH: z.VolumeML / 1000 * (0.01 + 0.012*d.unit()),
			UptakeNightLPH: z.VolumeML / 1000 * (0.001 + 0.002*d.unit()),
		}
	}
	return s
}

// allowSoaks lets most zones be soaked, by limits above and below those of their shots.
func allowSoaks(d *dice, p *zones.Plan) {
	for i := range p.Zones {
		if d.chance(0.3) {
			continue
		}
		p.Zones[i].Limits.Soak = &zones.SoakLimits{
			MaxRun:    pick(d, []time.Duration{time.Minute, 4 * time.Minute, 15 * time.Minute}),
			MaxPerDay: pick(d, []time.Duration{10 * time.Minute, 40 * time.Minute, 4 * time.Hour}), MaxMoisture: pick(d, []zones.Level{60000, 75000}),
		}
	}
}

// watchRoots lets a zone's pore water and warmth be watched, within narrow bounds.
func watchRoots(z *zones.Zone) {
	salty, warm := 3.0, 21.5
	z.Medium = zones.Medium{Curve: substrate.DefaultCurve("coir"), PoreOff: 1.64}
	z.PoreEC = &zones.Band{Above: &salty, For: 30 * time.Minute}
	z.RootTemperature = &zones.Band{Above: &warm, For: 30 * time.Minute}
}

// start is a day of the year, often one before the clocks change.
func start(d *dice, loc *time.Location) time.Time {
	days := []time.Time{
		time.Date(2027, 3, 12, 0, 0, 0, 0, loc), time.Date(2027, 11, 5, 0, 0, 0, 0, loc),
		time.Date(2027, 3, 26, 0, 0, 0, 0, loc), time.Date(2027, 10, 29, 0, 0, 0, 0, loc),
		time.Date(2027, 6, 1, 0, 0, 0, 0, loc), time.Date(2027, 12, 30, 0, 0, 0, 0, loc),
	}
	return pick(d, days).Add(time.Duration(d.n(24*3600)) * time.Second)
}

func location(name string) *time.Location {
	loc, err := time.LoadLocation(name)
	if err != nil {
		return time.UTC
	}
	return loc
}

// basePlan is a room of one or two controllers and two to four zones.
func basePlan(d *dice) *zones.Plan {
	loc := location(pick(d, []string{"UTC", "America/Chicago", "Europe/Berlin", "Australia/Lord_Howe"}))
	p := &zones.Plan{
		Hash: "plan-0", Room: "bay", Name: "Bay", Lease: pick(d, []time.Duration{10 * time.Second, 30 * time.Second, 2 * time.Minute}),
		Calendar: schedule.Calendar{Location: loc, Days: []schedule.Day{{On: 6 * time.Hour, Off: 18 * time.Hour}}},
		Supplies: []zones.Supply{{ID: "feed", MaxOpen: 1 + d.n(2), Low: "tank"}},
	}
	p.Controllers = []zones.Controller{{ID: "north", Volts: 24, VA: 40, Inputs: []zones.Input{{ID: "tank", Means: zones.SupplyLow}, {ID: "floor", Means: zones.Leak}}}}
	if d.chance(0.5) {
		p.Controllers = append(p.Controllers, zones.Controller{ID: "south", Inputs: []zones.Input{{ID: "halt", Means: zones.StopInput}, {ID: "lamps", Means: zones.Lights}}})
	}
	for i, n := 0, 2+d.n(3); i < n; i++ {
		addZone(d, p, i)
	}
	s := &p.Supplies[0]
	for i := range p.Zones {
		s.MaxOpen = max(s.MaxOpen, len(p.Zones[i].Valves))
	}
	switch d.n(3) {
	case 1:
		s.Master = &zones.Master{Output: zones.Output{Controller: "north", Number: 8}, Kind: zones.MasterValve, Lead: 2 * time.Second, Holding: 0.2}
	case 2:
		s.Master = &zones.Master{Output: zones.Output{Controller: "north", Number: 8}, Kind: zones.MasterPump, Lead: time.Second}
	}
	return p
}

// press lets pressure or a transformer be enough for one zone alone, or both.
func press(d *dice, p *zones.Plan) {
	which := d.n(3)
	if s := &p.Supplies[0]; which != 1 {
		s.MaxOpen = 4
		for i := range p.Zones {
			s.MaxFlowLPH = max(s.MaxFlowLPH, 1.05*p.Zones[i].FlowLPH())
		}
	}
	if which == 0 {
		return
	}
	p.Supplies[0].MaxOpen = 4
	for i := range p.Controllers {
		c := &p.Controllers[i]
		c.Volts, c.VA = 24, 0
		for j := range p.Zones {
			c.VA = max(c.VA, 1.02*c.Volts*demand(p, c.ID, &p.Zones[j]))
		}
	}
}

// demand is what a zone asks of a controller's transformer, A: its valves there and the
// master, and the inrush of the one that takes most.
func demand(p *zones.Plan, controller string, z *zones.Zone) float64 {
	amps, more := 0.0, 0.0
	add := func(at zones.Output) {
		if at.Controller == controller {
			holding, inrush := zonetest.Load(p, at)
			amps, more = amps+holding, max(more, inrush)
		}
	}
	for i := range p.Valves {
		if slices.Contains(z.Valves, p.Valves[i].ID) {
			add(p.Valves[i].Output)
		}
	}
	if m := p.Supplies[0].Master; m != nil {
		add(m.Output)
	}
	return amps + more
}

// addZone adds zone i with its valves and probes; every kind of window comes up.
func addZone(d *dice, p *zones.Plan, i int) {
	id := "z" + fmt.Sprint(i+1)
	ctl := p.Controllers[i%len(p.Controllers)].ID
	z := zones.Zone{
		ID: id, Name: "Zone " + id, Plants: 20, VolumeML: 4000, HeightM: 0.2, EmittersEach: 2, EmitterLPH: 2, Substrate: "coir",
		Moisture: zones.Moisture{Combine: pick(d, []zones.Combine{zones.Median, zones.Mean, zones.Driest, zones.Wettest, zones.Trimmed}), Quorum: 1 + d.n(2), PlausibleLo: 3000, PlausibleHi: 95000},
		Limits:   zones.Limits{MaxRun: pick(d, []time.Duration{3 * time.Minute, 6 * time.Minute}), MinRest: 5 * time.Minute, MaxPerDay: pick(d, []time.Duration{12 * time.Minute, time.Hour}), MaxMoisture: 66000},
	}
	for v := 0; v <= d.n(4)/3; v++ {
		valve := zones.Valve{ID: fmt.Sprintf("%s-%d", id, v+1), Output: zones.Output{Controller: ctl, Number: 1 + i + 10*v}, Supply: "feed", Holding: 0.25, Inrush: 0.4}
		z.Valves = append(z.Valves, valve.ID)
		p.Valves = append(p.Valves, valve)
	}
	if d.chance(0.4) {
		z.Lost = &zones.Fallback{Shot: schedule.Shot{Value: 60}, Every: 2 * time.Hour, MaxPerDay: 6 * time.Minute}
	}
	if d.chance(0.5) {
		z.Dry = &zones.DryRule{Below: 38000, For: 20 * time.Minute}
	}
	probes := 2 + d.n(3)
	z.Schedule = schedule.Zone{Named: true, Windows: windows(d, d.n(5))}
	if i > 0 && d.chance(0.15) {
		probes, z.Lost, z.Moisture.Quorum = 0, nil, 1
		z.Schedule.Windows = windows(d, 5)
	}
	for n := 0; n < probes; n++ {
		p.Probes = append(p.Probes, zones.Probe{ID: fmt.Sprintf("%s-p%d", id, n+1), Zone: id, Place: zones.Place{Controller: ctl, Terminal: i + 1, Address: fmt.Sprint(n)}})
	}
	p.Zones = append(p.Zones, z)
}

// windows gives a zone's day: one of six kinds.
func windows(d *dice, kind int) []schedule.Window {
	on, off := schedule.LightsOn, schedule.LightsOff
	rest := pick(d, []time.Duration{15 * time.Minute, 25 * time.Minute})
	shot := percentShot(pick(d, []float64{2, 3, 4}))
	night := schedule.Window{Name: "night", From: edge(off, 0), Until: edge(on, 0), Below: 38000, Shot: schedule.Shot{Value: 45}, Rest: time.Hour, MaxShots: 2}
	switch kind {
	case 0:
		return []schedule.Window{
			{Name: "ramp-up", From: edge(on, time.Hour), Until: edge(on, 4*time.Hour), Below: 50000, StopAt: 55000, Shot: shot, Rest: rest},
			{Name: "daytime", From: edge(on, 4*time.Hour), Until: edge(off, -2*time.Hour), DryBack: 2000, Floor: 40000, Shot: percentShot(2), Rest: rest, MaxShots: 4},
			night,
		}
	case 1:
		return []schedule.Window{
			{Name: "fill", From: edge(on, 0), Until: edge(on, 5*time.Hour), StopAt: 56000, Shot: shot, Rest: rest},
			{Name: "keep", From: edge(on, 5*time.Hour), Until: edge(off, 0), Below: 48000, Shot: shot, Rest: rest, MaxShots: 6},
			night,
		}
	case 2:
		return []schedule.Window{
			{Name: "clock", From: edge(schedule.AtClock, 7*time.Hour), Until: edge(schedule.AtClock, 17*time.Hour), Shot: schedule.Shot{Value: 70}, Rest: 2 * time.Hour},
			night,
		}
	case 3:
		return []schedule.Window{
			{Name: "late", From: edge(schedule.AtClock, 90*time.Minute), Until: edge(schedule.AtClock, 150*time.Minute), Below: 52000, Shot: shot, Rest: rest, MaxShots: 1},
			{Name: "day", From: edge(on, 0), Until: edge(off, 0), Below: 46000, StopAt: 52000, Shot: percentShot(3), Rest: rest},
			{Name: "rinse", Cron: "30 12 * * MON,THU", For: 30 * time.Minute, Shot: schedule.Shot{Kind: schedule.ByMillilitres, Value: 120}, MaxShots: 1, Rest: rest},
		}
	case 4:
		return []schedule.Window{{Name: "all-day", From: edge(schedule.AtClock, 0), Until: edge(schedule.AtClock, 24*time.Hour), Below: 50000, Shot: shot, Rest: rest}}
	}
	return []schedule.Window{{Name: "blind", From: edge(schedule.AtClock, 6*time.Hour), Until: edge(schedule.AtClock, 20*time.Hour), Shot: schedule.Shot{Value: 60}, Rest: 90 * time.Minute, WithoutProbes: true}}
}

// otherPlans are what people may put in force meanwhile.
func otherPlans(p *zones.Plan) []*zones.Plan {
	shorter := copyPlan(p, "plan-short-runs")
	for i := range shorter.Zones {
		shorter.Zones[i].Limits.MaxRun = 30 * time.Second
		if s := shorter.Zones[i].Limits.Soak; s != nil {
			shorter.Zones[i].Limits.Soak = &zones.SoakLimits{MaxRun: 40 * time.Second, MaxPerDay: s.MaxPerDay / 2, MaxMoisture: s.MaxMoisture}
		}
		for w := range shorter.Zones[i].Schedule.Windows {
			shorter.Zones[i].Schedule.Windows[w].Shot = schedule.Shot{Value: 25}
		}
		if f := shorter.Zones[i].Lost; f != nil {
			shorter.Zones[i].Lost = &zones.Fallback{Shot: schedule.Shot{Value: 20}, Every: f.Every, MaxPerDay: f.MaxPerDay}
		}
	}
	without := copyPlan(p, "plan-without-z1")
	without.Zones = without.Zones[1:]
	lease := copyPlan(p, "plan-lease")
	lease.Lease = 130*time.Second - p.Lease
	lease.Lease = min(max(lease.Lease, zones.LeaseMin), zones.LeaseMax)
	renamed := copyPlan(p, "plan-renamed")
	renamed.Zones[0].ID = "north-bench"
	for i := range renamed.Probes {
		if renamed.Probes[i].Zone == "z1" {
			renamed.Probes[i].Zone = "north-bench"
		}
	}
	sparse := copyPlan(p, "plan-sparse")
	for i := range sparse.Zones {
		z := &sparse.Zones[i]
		z.RequireWalk = i == 0
		z.Limits.MaxPerDay, z.Limits.Soak = 7*time.Minute, nil
		for w := range z.Schedule.Windows {
			if l := &z.Schedule.Windows[w]; l.Below > 0 && l.StopAt == 0 {
				l.Below -= 4000
			}
		}
	}
	return []*zones.Plan{shorter, without, lease, renamed, sparse}
}

// copyPlan copies a plan as far as the plans differ.
func copyPlan(p *zones.Plan, hash string) *zones.Plan {
	c := *p
	c.Hash = hash
	c.Probes = append([]zones.Probe(nil), p.Probes...)
	c.Zones = append([]zones.Zone(nil), p.Zones...)
	for i := range c.Zones {
		c.Zones[i].Schedule.Windows = append([]schedule.Window(nil), p.Zones[i].Schedule.Windows...)
	}
	return &c
}
