package configs

import (
	"rillgate/schedule"
	"rillgate/zones"
)

// checker compares values across the files. What could not be read is nil.
type checker struct {
	room     *rawRoom
	schedule *rawSchedule
}

func (c *checker) check() {
	if c.room != nil {
		c.checkRoom()
	}
	if c.schedule != nil {
		c.checkSchedule()
	}
	if c.room != nil && c.schedule != nil {
		c.checkZonePlans()
		c.checkAlarms()
	}
}

func (c *checker) checkRoom() {
	c.checkIDs()
	c.checkTerminals()
	c.checkMedia()
	c.checkOutputs()
	c.checkInputs()
	c.checkSupplies()
	c.checkZoneValves()
	for i := range c.room.zones {
		z := &c.room.zones[i]
		c.checkLimits(z)
		c.checkSoak(z)
		c.checkLost(z)
		c.checkCapacity(z)
	}
	c.checkHouse()
}

// register keeps ids that must differ.
type register map[string]place

// claim notes the id, or says that it is taken.
func (r register) claim(what string, id item[string]) {
	if !id.ok {
		return
	}
	if first, taken := r[id.v]; taken {
		id.at.fail(CodeDuplicate, "give one of them another id", "the id `%s` is taken by a %s in line %d", id.v, what, first.line)
		return
	}
	r[id.v] = id.at
}

// controller finds a controller by id.
func (c *checker) controller(id string) *rawController {
	for i := range c.room.controllers {
		if x := &c.room.controllers[i]; x.id.ok && x.id.v == id {
			return x
		}
	}
	return nil
}

func (c *checker) valve(id string) *rawValve {
	for i := range c.room.valves {
		if x := &c.room.valves[i]; x.id.ok && x.id.v == id {
			return x
		}
	}
	return nil
}

func (c *checker) zone(id string) *rawZone {
	for i := range c.room.zones {
		if x := &c.room.zones[i]; x.id.ok && x.id.v == id {
			return x
		}
	}
	return nil
}

// supplyOf gives the supply of a valve: the one that it names, else the only one.
// ok is false when there is none such.
func (c *checker) supplyOf(v *rawValve) (s *rawSupply, ok bool) {
	if len(c.room.supplies) == 0 {
		return nil, !v.supply.given
	}
	if !v.supply.given {
		return &c.room.supplies[0], len(c.room.supplies) == 1
	}
	for i := range c.room.supplies {
		if x := &c.room.supplies[i]; x.id.ok && x.id.v == v.supply.v {
			return x, true
		}
	}
	return nil, false
}

// probes counts the probes of a zone.
func (c *checker) probes(zone string) (n int) {
	for _, ctl := range c.room.controllers {
		for _, t := range ctl.terminals {
			for _, p := range t.probes {
				n += boolInt(p.zone.ok && p.zone.v == zone)
			}
		}
	}
	return n
}

// idsOf lists ids for hints.
func idsOf[T any](list []T, id func(*T) item[string]) (out []string) {
	for i := range list {
		if x := id(&list[i]); x.ok {
			out = append(out, x.v)
		}
	}
	return out
}

// sizing gives a zone with the numbers that a shot is reckoned by.
func (z *rawZone) sizing() *zones.Zone {
	return &zones.Zone{ID: z.id.v, Plants: z.plants.v, VolumeML: z.keys.volume.v, EmittersEach: z.keys.perPlant.v, EmitterLPH: z.keys.flow.v}
}

// checkShot says what keeps a shot from being one run of the zone.
func (z *rawZone) checkShot(shot schedule.Shot, at place, what string) {
	d, ok := z.sizing().RunTime(shot)
	limit := z.keys.maxRun
	switch {
	case !ok && shot.Kind == schedule.ByPercent && !z.keys.volume.given:
		at.failIn(z.id.v, CodeMissing, "give it under `substrate` of the zone or of `defaults`: {volume_per_plant: 6.5 L}", "%s is in %%, but zone `%s` has no volume_per_plant", what, z.id.v)
	case !ok && (!z.keys.perPlant.given || !z.keys.flow.given):
		at.failIn(z.id.v, CodeMissing, "give them under `emitters` of the zone or of `defaults`: {per_plant: 2, flow: 2 L/h}", "%s is a volume, but zone `%s` has no emitters", what, z.id.v)
	case !ok:
	case d < zones.ShortestRun:
		at.failIn(z.id.v, CodeRange, "no valve opens and closes so soon: give more at once, or mind the scale", "%s takes %s in zone `%s`: at least %s", what, timeWords(d), z.id.v, timeWords(zones.ShortestRun))
	case limit.ok && d > limit.v:
		at.failIn(z.id.v, CodeConflict, "make the shot smaller, or raise max_run ("+limit.at.short()+")", "%s takes %s in zone `%s`: longer than max_run, %s", what, timeWords(d), z.id.v, timeWords(limit.v))
	case z.keys.maxPerDay.ok && d > z.keys.maxPerDay.v:
		at.failIn(z.id.v, CodeConflict, "make the shot smaller, or raise max_per_day ("+z.keys.maxPerDay.at.short()+")", "%s takes %s in zone `%s`: longer than max_per_day, %s", what, timeWords(d), z.id.v, timeWords(z.keys.maxPerDay.v))
	}
}
