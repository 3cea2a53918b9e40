package configs

import "rillgate/zones/wiring"

// rules gives the house's rules, the common ones where the file is silent.
func (h rawHouse) rules() wiring.House {
	common := wiring.Common()
	out := wiring.House{ProbesPerTerminal: h.perTerminal.or(common.ProbesPerTerminal), FarthestProbeM: h.farthest.or(common.FarthestProbeM),
		CanopyPerProbeM2: h.canopy.or(common.CanopyPerProbeM2), ValveWire: common.ValveWire}
	if h.valveWire.ok {
		out.ValveWire = wire(h.valveWire)
	}
	return out
}

// wire gives a size as written.
func wire(i item[measured]) wiring.Wire {
	if !i.ok {
		return wiring.Wire{}
	}
	w := wiring.Metric(i.v.float())
	if i.v.dim == gauge {
		w = wiring.Gauge(int(i.v.float()))
	}
	w.Size = i.text
	return w
}

// wiring gives what the installer wrote of cables, for the install sheet.
func (c *checker) wiring() wiring.Room {
	r := c.room
	out := wiring.Room{ID: r.id.v, Name: r.name.or(r.id.v), US: r.units.v == "us", House: r.house.rules()}
	for i := range r.controllers {
		out.Controllers = append(out.Controllers, c.controllerWiring(&r.controllers[i]))
	}
	for _, s := range r.planSupplies() {
		out.Supplies = append(out.Supplies, wiring.Supply{ID: s.ID, MaxOpen: s.MaxOpen})
	}
	for i := range r.zones {
		z := &r.zones[i]
		out.Zones = append(out.Zones, wiring.Zone{ID: z.id.v, Name: z.name.or(z.id.v), CanopyM2: z.canopy.v, Probes: c.probes(z.id.v)})
	}
	return out
}

func (c *checker) controllerWiring(ctl *rawController) wiring.Controller {
	out := wiring.Controller{ID: ctl.id.v, Volts: ctl.volts.v, Kind: ctl.powerKind.v, VA: ctl.va.v}
	for i := range ctl.terminals {
		out.Terminals = append(out.Terminals, ctl.terminals[i].wiring())
	}
	for i := range c.room.valves {
		if v := &c.room.valves[i]; v.controller.v == ctl.id.v {
			out.Valves = append(out.Valves, c.valveWiring(v))
		}
	}
	for i := range c.room.supplies {
		if s := &c.room.supplies[i]; s.master != nil && s.master.controller.v == ctl.id.v {
			out.Valves = append(out.Valves, s.masterWiring())
		}
	}
	if h := c.room.healthy; h != nil && h.controller.v == ctl.id.v {
		out.Healthy = &wiring.Healthy{Output: h.output.v, Drives: h.drives.v, LengthM: h.length.or(wiring.NotGiven), Wire: wire(h.wire), Holding: h.holding.v, Inrush: h.inrush.v}
	}
	return out
}

func (t *rawTerminal) wiring() wiring.Terminal {
	out := wiring.Terminal{Number: t.number.v, Star: t.layout.v == "star", HomeRunM: t.homeRun.or(wiring.NotGiven), Cable: wire(t.cable),
		Volts: t.volts.v, DrawA: t.draw.v}
	for _, p := range t.probes {
		out.Probes = append(out.Probes, wiring.Probe{ID: p.id.v, Address: p.address.v, Zone: p.zone.v, Label: p.label.v,
			LeadM: p.lead.or(wiring.NotGiven), TailM: p.tail.or(wiring.NotGiven), DrawA: p.draw.v})
	}
	return out
}

func (c *checker) valveWiring(v *rawValve) wiring.Valve {
	out := wiring.Valve{ID: v.id.v, Output: v.output.v, Supply: onlySupply, LengthM: v.length.or(wiring.NotGiven), Wire: wire(v.wire),
		Holding: v.holding.v, Inrush: v.inrush.v}
	if s, _ := c.supplyOf(v); s != nil {
		out.Supply = s.id.v
	}
	for i := range c.room.zones {
		for _, id := range c.room.zones[i].valves {
			if id.v == v.id.v {
				out.Zone = c.room.zones[i].id.v
			}
		}
	}
	return out
}

func (s *rawSupply) masterWiring() wiring.Valve {
	m := s.master
	return wiring.Valve{ID: s.id.v + "-master", Output: m.output.v, Supply: s.id.v, Master: true, LengthM: m.length.or(wiring.NotGiven),
		Wire: wire(m.wire), Holding: m.holding.v, Inrush: m.inrush.v}
}
