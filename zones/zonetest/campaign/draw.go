package campaign

import (
	"math"
	"sort"
	"time"

	"rillgate/zones"
	"rillgate/zones/simroom"
)

// drawer makes the faults of a seed.
type drawer struct {
	*dice
	plan   *zones.Plan
	until  time.Duration // no fault lasts longer
	faults []Fault
}

// class is a kind of trouble: it adds one happening at a time.
type class struct {
	name string
	add  func(d *drawer, at time.Duration)
}

// Draw gives the case of a seed: each class of fault is on in half of the seeds, at a
// rate of its own. Half of the seeds end in a calm, in which watering must resume. In
// 63 of 64 the controllers say little while nothing happens, as if what tells
// nothing new were lost: so most of the time goes into what matters.
func Draw(seed uint64, days float64) *Case {
	c := &Case{Seed: seed, Days: days, NoCutOff: seed%2 == 1, Sparse: seed/4%64 != 0, Pressed: newDice(seed, "pressed").chance(0.4),
		Valves: newDice(seed, "valves leave").chance(0.5)}
	if seed%4 < 2 && days >= 2 {
		c.CalmDays = 1
	}
	plan := newSetup(c).plans[0]
	for _, k := range classes() {
		d := &drawer{dice: newDice(seed, "class "+k.name), plan: plan, until: min(c.calm(), c.end())}
		if !d.chance(0.5) {
			continue
		}
		rate := d.log(0.05, 4)
		for n := int(rate*days + d.unit()); n > 0; n-- {
			k.add(d, time.Duration(d.unit()*float64(d.until)).Truncate(time.Millisecond))
		}
		c.Faults = append(c.Faults, d.faults...)
	}
	c.Faults = append(c.Faults, rounds(c, plan)...)
	c.Faults = append(c.Faults, visits(c)...)
	sort.SliceStable(c.Faults, func(i, j int) bool { return c.Faults[i].At < c.Faults[j].At })
	return c
}

// rounds are those of a caretaker, who resets what is latched some times a day; a few
// rooms have none.
func rounds(c *Case, plan *zones.Plan) []Fault {
	d := &drawer{dice: newDice(c.Seed, "rounds"), plan: plan, until: min(c.calm(), c.end())}
	if d.chance(0.15) {
		return nil
	}
	every := d.span(time.Hour, 10*time.Hour)
	for at := every; at < d.until; at += every {
		subjects := []string{"room", "feed"}
		for i := range plan.Zones {
			subjects = append(subjects, plan.Zones[i].ID)
		}
		for _, s := range subjects {
			d.put(Fault{Kind: Person, At: at, Other: string(zones.OrderReset), Subject: s})
		}
		d.put(Fault{Kind: Person, At: at, Other: string(zones.OrderAcknowledge)})
	}
	return d.faults
}

// visits are of somebody who looks after a second gateway within the hour, mostly: a room
// that repeats its closes each second for days shows nothing new.
func visits(c *Case) []Fault {
	d := &drawer{dice: newDice(c.Seed, "visits"), until: min(c.calm(), c.end())}
	for _, f := range c.Faults {
		if f.Kind != Foreign || d.chance(0.1) {
			continue
		}
		f = Fault{Kind: Person, At: f.At, OnOpen: f.OnOpen, Delay: f.Delay, Other: string(zones.OrderReset), Subject: "room"}
		if wait := f.For + d.span(2*time.Minute, time.Hour); f.OnOpen {
			f.Delay += wait
		} else {
			f.At += wait
		}
		d.put(f)
	}
	return d.faults
}

// put adds a fault that is over when all is calm.
func (d *drawer) put(f Fault) {
	if f.For > 0 || f.Kind == Crash {
		f.For = min(f.For, max(0, d.until-f.At-time.Second))
	}
	if f.At < d.until {
		d.faults = append(d.faults, f)
	}
}

// lasting adds a fault of a drawn length; a fault of no length would last for good.
func (d *drawer) lasting(f Fault, from, to time.Duration) {
	f.For = d.span(from, to)
	if f.At+2*time.Second < d.until {
		d.put(f)
	}
}

// biased lets a fault come at an opening, by a chance.
func (d *drawer) biased(f Fault, within time.Duration) Fault {
	if d.chance(0.6) {
		f.OnOpen, f.Delay = true, time.Duration(d.unit()*float64(within)).Truncate(time.Millisecond)
	}
	return f
}

func (d *drawer) controller() string { return pick(d.dice, d.plan.Controllers).ID }
func (d *drawer) zone() string       { return pick(d.dice, d.plan.Zones).ID }
func (d *drawer) valve() string      { return pick(d.dice, d.plan.Valves).ID }
func (d *drawer) probe() string      { return pick(d.dice, d.plan.Probes).ID }

func (d *drawer) probesOf(zone string) []string {
	var ids []string
	for i := range d.plan.Probes {
		if d.plan.Probes[i].Zone == zone {
			ids = append(ids, d.plan.Probes[i].ID)
		}
	}
	return ids
}

// somewhere is one controller, or all.
func (d *drawer) somewhere() string {
	if d.chance(0.5) {
		return ""
	}
	return d.controller()
}

func classes() []class {
	return append(append(append(netClasses(), boxClasses()...), roomClasses()...), peopleClasses()...)
}

func netClasses() []class {
	net := func(kind string, from, to float64) class {
		return class{kind, func(d *drawer, at time.Duration) {
			f := Fault{Kind: kind, At: at, Subject: d.somewhere(), Value: math.Round(d.log(from, to)*1000) / 1000}
			d.lasting(d.biased(f, 3*time.Second), 5*time.Second, 6*time.Hour)
		}}
	}
	once := func(kind string, subject func(*drawer) string) class {
		return class{kind, func(d *drawer, at time.Duration) {
			d.put(d.biased(Fault{Kind: kind, At: at, Subject: subject(d), Value: float64(1 + d.n(40))}, time.Minute))
		}}
	}
	return []class{
		net(NetLoss, 0.02, 1), net(NetRepeat, 0.05, 1), net(NetDelay, 0.05, 90), net(NetReorder, 0.05, 60),
		once(RetainedReading, (*drawer).probe), once(ReplayReadings, (*drawer).zone), once(ReplayReports, (*drawer).controller),
		once(RetainedReport, (*drawer).controller), once(RetainedStatus, (*drawer).controller), once(ReplayCommands, (*drawer).controller),
		{BrokerDown, func(d *drawer, at time.Duration) {
			d.lasting(d.biased(Fault{Kind: BrokerDown, At: at, Value: float64(d.n(60))}, 30*time.Second), time.Second, time.Hour)
		}},
	}
}

func boxClasses() []class {
	return []class{
		{DiskSlow, func(d *drawer, at time.Duration) {
			d.lasting(Fault{Kind: DiskSlow, At: at, Value: math.Round(d.log(0.1, 60))}, time.Minute, 4*time.Hour)
		}},
		{DiskFails, func(d *drawer, at time.Duration) {
			f := d.biased(Fault{Kind: DiskFails, At: at}, 30*time.Second)
			d.lasting(f, time.Second, time.Hour)
			d.put(Fault{Kind: Crash, At: at + d.span(time.Minute, 3*time.Hour), For: time.Second, Value: 1})
		}},
		{Crash, func(d *drawer, at time.Duration) {
			f := d.biased(Fault{Kind: Crash, At: at, For: d.span(time.Millisecond, time.Hour), Value: d.unit()}, 3*time.Second)
			d.put(f)
		}},
		{"crash-burst", func(d *drawer, at time.Duration) {
			for i, n := 0, 2+d.n(7); i < n; i++ {
				d.put(Fault{Kind: Crash, At: at, For: d.span(time.Millisecond, 20*time.Second), Value: d.unit()})
				at += d.span(100*time.Millisecond, 3*time.Minute)
			}
		}},
		{CrashMidStep, func(d *drawer, at time.Duration) {
			d.put(d.biased(Fault{Kind: CrashMidStep, At: at, For: d.span(time.Millisecond, time.Minute), Value: float64(d.n(5))}, 3*time.Minute))
		}},
		{CleanRestart, func(d *drawer, at time.Duration) {
			d.put(d.biased(Fault{Kind: CleanRestart, At: at, For: d.span(time.Millisecond, time.Minute)}, time.Minute))
		}},
		{Stall, func(d *drawer, at time.Duration) {
			d.lasting(d.biased(Fault{Kind: Stall, At: at}, 30*time.Second), time.Second, 5*time.Minute)
		}},
		{"steps", func(d *drawer, at time.Duration) {
			by := d.log(3, 40*86400)
			if d.chance(0.5) {
				by = -by
			}
			d.put(d.biased(Fault{Kind: pick(d.dice, []string{WallStep, WallJump}), At: at, Value: math.Round(by)}, time.Minute))
		}},
		{Wall1970, func(d *drawer, at time.Duration) {
			d.lasting(d.biased(Fault{Kind: Wall1970, At: at}, time.Minute), time.Second, 3*time.Hour)
		}},
		{Untrusted, func(d *drawer, at time.Duration) {
			d.lasting(Fault{Kind: Untrusted, At: at}, time.Second, 6*time.Hour)
		}},
	}
}

// roomClasses are those of the simulated room.
func roomClasses() []class {
	room := func(kind simroom.FaultKind, subject func(*drawer) string, value func(*drawer) float64, from, to time.Duration) class {
		return class{string(kind), func(d *drawer, at time.Duration) {
			f := Fault{Kind: string(kind), At: at, Subject: subject(d)}
			if value != nil {
				f.Value = value(d)
			}
			if f.Subject != "" {
				d.lasting(d.biased(f, 2*time.Minute), from, to)
			}
		}}
	}
	between := func(from, to float64) func(*drawer) float64 {
		return func(d *drawer) float64 { return math.Round((from+d.unit()*(to-from))*10) / 10 }
	}
	supply := func(*drawer) string { return "feed" }
	input := func(d *drawer) string {
		if len(d.plan.Controllers) > 1 {
			return pick(d.dice, []string{"tank", "floor", "halt"})
		}
		return pick(d.dice, []string{"tank", "floor"})
	}
	list := []class{
		room(simroom.ProbeLost, (*drawer).probe, nil, time.Minute, 12*time.Hour),
		room(simroom.ProbeStuck, (*drawer).probe, nil, time.Hour, 24*time.Hour),
		room(simroom.ProbeInAir, (*drawer).probe, between(1, 30), time.Minute, 12*time.Hour),
		room(simroom.ProbeReplays, (*drawer).probe, nil, time.Minute, 12*time.Hour),
		room(simroom.ProbeRestamps, (*drawer).probe, nil, time.Minute, 12*time.Hour),
		room(simroom.ValveStuckOpen, (*drawer).valve, nil, time.Minute, 2*time.Hour),
		room(simroom.ValveStuckClosed, (*drawer).valve, nil, time.Minute, 24*time.Hour),
		room(simroom.OutputDead, (*drawer).valve, nil, time.Minute, 6*time.Hour),
		room(simroom.EmittersBlocked, (*drawer).zone, between(0, 0.3), time.Hour, 24*time.Hour),
		room(simroom.BedLeak, (*drawer).zone, between(5, 60), time.Minute, time.Hour),
		room(simroom.SupplyDry, supply, nil, time.Minute, 8*time.Hour),
		room(simroom.TankLow, supply, nil, time.Second, 2*time.Hour),
		room(simroom.InputActive, input, nil, time.Second, time.Hour),
		room(simroom.InputSilent, input, nil, time.Minute, time.Hour),
		room(simroom.Reboot, (*drawer).controller, nil, 500*time.Millisecond, time.Minute),
		room(simroom.Offline, (*drawer).controller, nil, time.Second, time.Hour),
		room(simroom.ReportsLost, (*drawer).controller, nil, time.Second, time.Hour),
		room(simroom.ClockRunsOff, (*drawer).controller, between(-3000, 3000), time.Minute, 6*time.Hour),
	}
	return append(list, welded(), wholeZoneStuck(), swapped())
}

// welded is an output that stays open, mostly for half an hour at most: a room that says
// its close again each second for hours shows nothing new.
func welded() class {
	return class{string(simroom.OutputWelded), func(d *drawer, at time.Duration) {
		longest := 30 * time.Minute
		if d.chance(0.1) {
			longest = 3 * time.Hour
		}
		d.lasting(d.biased(Fault{Kind: string(simroom.OutputWelded), At: at, Subject: d.valve()}, 2*time.Minute), time.Second, longest)
	}}
}

// wholeZoneStuck holds all probes of a zone at the level they have, or at a dry one.
func wholeZoneStuck() class {
	return class{"zone-stuck", func(d *drawer, at time.Duration) {
		value := 0.0
		if d.chance(0.5) {
			value = 30
		}
		long := d.span(time.Hour, 18*time.Hour)
		for _, id := range d.probesOf(d.zone()) {
			if at+2*time.Second < d.until {
				d.put(Fault{Kind: string(simroom.ProbeStuck), At: at, For: long, Subject: id, Value: value})
			}
		}
	}}
}

func swapped() class {
	return class{string(simroom.ProbesSwapped), func(d *drawer, at time.Duration) {
		a, b := d.probe(), d.probe()
		if a != b {
			d.lasting(Fault{Kind: string(simroom.ProbesSwapped), At: at, Subject: a, Other: b}, time.Hour, 24*time.Hour)
		}
	}}
}

func peopleClasses() []class {
	order := func(name string, kind zones.OrderKind, rest func(d *drawer, f *Fault)) class {
		return class{name, func(d *drawer, at time.Duration) {
			f := d.biased(Fault{Kind: Person, At: at, Other: string(kind), Subject: d.zone()}, 2*time.Minute)
			if rest != nil {
				rest(d, &f)
			}
			d.put(f)
		}}
	}
	return []class{
		order("hold", zones.OrderHold, func(d *drawer, f *Fault) { f.Value = math.Round(d.log(1, 30*3600)) }),
		order("release", zones.OrderRelease, nil),
		order("stop", zones.OrderStop, func(d *drawer, f *Fault) {
			if d.chance(0.3) {
				f.Subject = ""
			}
		}),
		order("shot", zones.OrderShot, func(d *drawer, f *Fault) {
			if d.chance(0.7) {
				f.Value = math.Round(d.log(5, 500))
			}
		}),
		order("soak", zones.OrderSoak, func(d *drawer, f *Fault) {
			f.Value = math.Round(d.log(5, 3000))
			if d.chance(0.5) {
				f.For = d.span(5*time.Minute, 12*time.Hour)
			}
		}),
		order("soak-end", zones.OrderSoak, nil),
		order("acknowledge", zones.OrderAcknowledge, func(d *drawer, f *Fault) { f.Subject = pick(d.dice, []string{"", d.probe(), d.zone()}) }),
		order("note", zones.OrderNote, nil),
		order("assign", zones.OrderAssign, func(d *drawer, f *Fault) { f.Subject = d.probe() + " " + d.zone() }),
		order("ignore", zones.OrderIgnore, func(d *drawer, f *Fault) { f.Subject, f.Value = d.probe(), math.Round(d.log(60, 86400)) }),
		{"resets", func(d *drawer, at time.Duration) {
			for _, s := range append([]string{"room", "feed"}, d.zone(), d.zone()) {
				d.put(Fault{Kind: Person, At: at, Other: string(zones.OrderReset), Subject: s})
				at += time.Second
			}
		}},
		{"walks", func(d *drawer, at time.Duration) {
			zone := d.zone()
			for _, kind := range []zones.OrderKind{zones.OrderWalk, pick(d.dice, []zones.OrderKind{zones.OrderWalk, zones.OrderWalkCut}), zones.OrderWalkAccept, zones.OrderWalkEnd} {
				d.put(d.biased(Fault{Kind: Person, At: at, Other: string(kind), Subject: zone}, time.Minute))
				at += d.span(time.Second, 10*time.Minute)
			}
		}},
		{"plans", func(d *drawer, at time.Duration) {
			d.put(d.biased(Fault{Kind: PlanTurn, At: at, Value: float64(d.n(6))}, 2*time.Minute))
			d.put(Fault{Kind: PlanTurn, At: at + d.span(time.Second, 8*time.Hour), Value: 0})
		}},
		{Foreign, func(d *drawer, at time.Duration) {
			d.lasting(d.biased(Fault{Kind: Foreign, At: at, Value: float64(pick(d.dice, []int{-1, 0, 1, 5}))}, time.Minute), time.Second, 10*time.Minute)
		}},
	}
}
