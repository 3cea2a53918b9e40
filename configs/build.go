package configs

import (
	"strings"
	"time"

	"rillgate/schedule"
	"rillgate/zones"
)

// What is in force where the files are silent.
const (
	onlySupply     = "supply"
	builtInRest    = 5 * time.Minute
	builtInStale   = 3 * time.Minute
	builtInQuorum  = 2
	builtInLead    = 2 * time.Second
	builtInDryTime = 20 * time.Minute
	builtInBand    = time.Hour
)

// plan makes the core's plan of what has passed every check.
func (c *checker) plan(hash string, lease time.Duration) *zones.Plan {
	r := c.room
	p := &zones.Plan{Hash: hash, Room: r.id.v, Name: r.name.or(r.id.v), US: r.units.v == "us", Lease: lease}
	p.Calendar = schedule.Calendar{Location: r.zone.v}
	for _, d := range c.schedule.days {
		p.Calendar.Days = append(p.Calendar.Days, schedule.Day{From: d.from.v, On: d.on.v, Off: d.off.v})
	}
	for i := range r.controllers {
		p.Controllers = append(p.Controllers, r.controllers[i].plan())
		p.Probes = append(p.Probes, r.controllers[i].planProbes()...)
	}
	p.Supplies = r.planSupplies()
	for i := range r.valves {
		p.Valves = append(p.Valves, c.planValve(&r.valves[i]))
	}
	if h := r.healthy; h != nil {
		p.Healthy = &zones.Output{Controller: h.controller.v, Number: h.output.v}
		p.HealthyPart = zones.HealthyPart{Drives: h.drives.v, Holding: h.holding.v, Inrush: h.inrush.or(h.holding.v)}
	}
	for i := range r.zones {
		p.Zones = append(p.Zones, c.planZone(&r.zones[i]))
	}
	return p
}

func (r *rawRoom) planContacts() (out []Contact) {
	for _, x := range r.contacts {
		out = append(out, Contact{Name: x.name.v, Role: x.role.v, Phone: x.phone.v})
	}
	return out
}

func (ctl *rawController) plan() zones.Controller {
	out := zones.Controller{ID: ctl.id.v, Volts: ctl.volts.v, VA: ctl.va.v}
	for _, in := range ctl.inputs {
		out.Inputs = append(out.Inputs, zones.Input{ID: in.id.v, Means: zones.Means(in.means.v), NormallyOpen: in.contact.v == "normally-open"})
	}
	return out
}

func (ctl *rawController) planProbes() (out []zones.Probe) {
	for _, t := range ctl.terminals {
		for _, p := range t.probes {
			at := zones.Place{Controller: ctl.id.v, Terminal: t.number.v, Address: p.address.v}
			out = append(out, zones.Probe{ID: p.id.v, Place: at, Zone: p.zone.v, Label: p.label.v, Offset: p.offset.v})
		}
	}
	return out
}

func (r *rawRoom) planSupplies() (out []zones.Supply) {
	if len(r.supplies) == 0 {
		return []zones.Supply{{ID: onlySupply, MaxOpen: 1, Low: r.onlyLow()}}
	}
	for _, s := range r.supplies {
		supply := zones.Supply{ID: s.id.v, MaxOpen: s.maxOpen.or(1), MaxFlowLPH: s.maxFlow.v, Low: s.low.v}
		if m := s.master; m != nil {
			supply.Master = &zones.Master{Output: zones.Output{Controller: m.controller.v, Number: m.output.v},
				Kind: zones.MasterKind(m.kind.or(string(zones.MasterValve))), Lead: m.lead.or(builtInLead),
				Holding: m.holding.v, Inrush: m.inrush.or(m.holding.v)}
		}
		out = append(out, supply)
	}
	return out
}

// onlyLow gives the input that says the only supply is low: the one that means it.
func (r *rawRoom) onlyLow() (id string) {
	for _, ctl := range r.controllers {
		for _, in := range ctl.inputs {
			if in.means.v == string(zones.SupplyLow) {
				if id != "" {
					return ""
				}
				id = in.id.v
			}
		}
	}
	return id
}

func (c *checker) planValve(v *rawValve) zones.Valve {
	supply := onlySupply
	if s, _ := c.supplyOf(v); s != nil {
		supply = s.id.v
	}
	return zones.Valve{ID: v.id.v, Output: zones.Output{Controller: v.controller.v, Number: v.output.v}, Supply: supply,
		Holding: v.holding.v, Inrush: v.inrush.or(v.holding.v)}
}

func (c *checker) planZone(z *rawZone) zones.Zone {
	k := &z.keys
	out := zones.Zone{ID: z.id.v, Name: z.name.or(z.id.v), Plants: z.plants.v, CanopyM2: z.canopy.v, Substrate: k.substrate.v,
		VolumeML: k.volume.v, HeightM: k.height.v, EmittersEach: k.perPlant.v, EmitterLPH: k.flow.v,
		Moisture: zones.Moisture{Combine: zones.Combine(k.combine.or(string(zones.Median))), Quorum: k.quorum.or(defaultQuorum(c.probes(z.id.v))),
			StaleAfter: k.stale.or(builtInStale), PlausibleLo: k.band().lo, PlausibleHi: k.band().hi},
		Limits: zones.Limits{MaxRun: k.maxRun.v, MinRest: k.minRest.or(builtInRest), MaxPerDay: k.maxPerDay.v, MaxMoisture: k.maxMoisture.v},
		Medium: c.medium(z), Schedule: c.planSchedule(c.followed(z.id.v))}
	for _, v := range z.valves {
		out.Valves = append(out.Valves, v.v)
	}
	if k.soakRun.ok && k.soakPerDay.ok && k.soakMoisture.ok {
		out.Limits.Soak = &zones.SoakLimits{MaxRun: k.soakRun.v, MaxPerDay: k.soakPerDay.v, MaxMoisture: k.soakMoisture.v}
	}
	if l := k.lost; l.ok && l.v != nil {
		out.Lost = &zones.Fallback{Shot: l.v.shot.v, Every: l.v.every.v, MaxPerDay: l.v.maxPerDay.v}
	}
	out.RequireWalk = k.walk.or(false)
	pore, warm := c.bandsOf(z.id.v)
	out.PoreEC, out.RootTemperature = pore.plan(), warm.plan()
	if below, hold := c.dryOf(z.id.v); below.ok {
		out.Dry = &zones.DryRule{Below: below.v, For: hold.or(builtInDryTime)}
	}
	return out
}

// defaultQuorum is two, or one where there is one probe.
func defaultQuorum(probes int) int {
	if probes == 1 {
		return 1
	}
	return builtInQuorum
}

func (c *checker) planSchedule(p *rawZonePlan) schedule.Zone {
	if p == nil {
		return schedule.Zone{}
	}
	out := schedule.Zone{Named: true, Scale: p.scale}
	switch {
	case p.crop.ok:
		out.Crop = c.planCrop(c.schedule.crop(p.crop.v))
	case p.routine.ok:
		out.Routine, out.Windows = p.routine.v, planWindows(c.schedule.routine(p.routine.v).windows)
	case p.isList:
		out.Windows = planWindows(p.windows)
	}
	return out
}

func (c *checker) planCrop(crop *rawCrop) *schedule.Crop {
	out := &schedule.Crop{Name: crop.name, Day1: crop.day1.v, Ends: crop.ends.v}
	for _, st := range crop.stages {
		out.Stages = append(out.Stages, schedule.Stage{FromDay: st.from.v, Routine: st.routine.v,
			Windows: planWindows(c.schedule.routine(st.routine.v).windows), EaseFor: int(st.ease.v / wholeDay)})
	}
	return out
}

func planWindows(windows []rawWindow) []schedule.Window {
	out := make([]schedule.Window, len(windows))
	for i := range windows {
		out[i] = windows[i].window()
	}
	return out
}

// window gives the core's window.
func (w *rawWindow) window() schedule.Window {
	return schedule.Window{Name: w.name.v, From: w.from.v, Until: w.until.v, On: w.on.v, Cron: strings.TrimSpace(w.cron.v), For: w.length.v,
		Below: w.below.v, StopAt: w.stopAt.v, DryBack: w.dryBack.v, Floor: w.floor.v,
		Shot: w.shot.v, Rest: w.rest.v, MaxShots: w.maxShots.v, WithoutProbes: w.withoutProbes.v}
}
