package configs

import (
	"fmt"
	"time"

	"rillgate/zones"
	"rillgate/zones/wiring"
)

// checkSupplies: supplies and the valves on them.
func (c *checker) checkSupplies() {
	for i := range c.room.supplies {
		s := &c.room.supplies[i]
		c.checkLow(s)
		if s.master == nil {
			s.at.warn(CodeNoMaster, "a normally-closed master valve on an output of its own stops a valve that sticks: `master: {controller: NAME, output: 8, kind: valve, lead: 2 s}`", "the supply `%s` has no master: nothing stops it when a valve sticks open", s.id.v)
		} else {
			checkCurrents(s.master.holding, s.master.inrush)
		}
	}
	if len(c.room.supplies) == 0 {
		c.room.suppliesAt.warn(CodeNoMaster, "write `supplies:` with a master valve: `- {id: feed, max_open: 1, master: {controller: NAME, output: 8, kind: valve, lead: 2 s}}`", "no supplies are written, so all valves share one without a master: nothing stops it when a valve sticks open")
	}
	for i := range c.room.valves {
		c.checkValveSupply(&c.room.valves[i])
		checkCurrents(c.room.valves[i].holding, c.room.valves[i].inrush)
	}
	if h := c.room.healthy; h != nil {
		checkCurrents(h.holding, h.inrush)
	}
}

func (c *checker) checkValveSupply(v *rawValve) {
	if _, ok := c.supplyOf(v); ok {
		return
	}
	known := idsOf(c.room.supplies, func(s *rawSupply) item[string] { return s.id })
	switch {
	case v.supply.ok:
		v.supply.at.fail(CodeReference, knownHint("supplies", known, v.supply.v), "there is no supply `%s`", v.supply.v)
	case !v.supply.given:
		v.at.fail(CodeMissing, "write `supply:` with "+listSome(known), "the valve `%s` names no supply, and there are several", v.id.v)
	}
}

func checkCurrents(holding, inrush item[float64]) {
	if holding.ok && inrush.ok && inrush.v < holding.v {
		inrush.at.fail(CodeConflict, "inrush is the current while opening, holding the one after it", "inrush %s is less than holding, %s", inrush.text, holding.text)
	}
}

// checkZoneValves: each valve waters one zone, and a zone draws from one supply.
func (c *checker) checkZoneValves() {
	used := map[string]place{}
	for i := range c.room.zones {
		z := &c.room.zones[i]
		for _, id := range z.valves {
			c.checkZoneValve(z, id, used)
		}
		c.checkOneSupply(z)
	}
	for _, v := range c.room.valves {
		if v.id.ok && !used[v.id.v].ok() {
			v.id.at.warn(CodeUnused, "name it under `valves` of a zone, or remove it", "the valve `%s` waters no zone", v.id.v)
		}
	}
}

func (c *checker) checkZoneValve(z *rawZone, id item[string], used map[string]place) {
	if !id.ok {
		return
	}
	if c.valve(id.v) == nil {
		id.at.fail(CodeReference, knownHint("valves", idsOf(c.room.valves, func(v *rawValve) item[string] { return v.id }), id.v), "there is no valve `%s`", id.v)
		return
	}
	if first := used[id.v]; first.ok() {
		id.at.fail(CodeWiring, "a valve waters one zone", "the valve `%s` is used twice: also in line %d", id.v, first.line)
		return
	}
	used[id.v] = id.at
}

func (c *checker) checkOneSupply(z *rawZone) {
	var first *rawSupply
	for _, id := range z.valves {
		v := c.valve(id.v)
		if v == nil {
			continue
		}
		s, ok := c.supplyOf(v)
		switch {
		case !ok || s == nil:
		case first == nil:
			first = s
		case first != s:
			id.at.fail(CodeConflict, "split the zone, one for each supply", "the valves of zone `%s` draw from two supplies, `%s` and `%s`", z.id.v, first.id.v, s.id.v)
		}
	}
}

// checkCapacity: a zone's own valves open together, so supply and transformer must
// carry them; else the zone would wait for ever.
func (c *checker) checkCapacity(z *rawZone) {
	var supply *rawSupply
	valves := map[string][]*rawValve{} // by controller
	count := 0
	for _, id := range z.valves {
		if v := c.valve(id.v); v != nil && id.ok {
			count++
			supply, _ = c.supplyOf(v)
			valves[v.controller.v] = append(valves[v.controller.v], v)
		}
	}
	c.checkOpen(z, supply, count)
	if supply != nil {
		c.checkFlow(z, supply)
	}
	for i := range c.room.controllers {
		c.checkTransformer(z, &c.room.controllers[i], supply, valves[c.room.controllers[i].id.v])
	}
}

func (c *checker) checkOpen(z *rawZone, supply *rawSupply, count int) {
	most, name := 1, "the only supply"
	if supply != nil {
		most, name = supply.maxOpen.or(1), "supply `"+supply.id.v+"`"
		if supply.maxOpen.given && !supply.maxOpen.ok {
			return
		}
	}
	if count > most {
		z.valvesAt.fail(CodeCapacity, fmt.Sprintf("raise max_open to %d, or split the zone", count), "zone `%s` opens %d valves at once, %s allows %d (max_open)", z.id.v, count, name, most)
	}
}

func (c *checker) checkFlow(z *rawZone, supply *rawSupply) {
	if !supply.maxFlow.ok || z.plants.given && !z.plants.ok {
		return
	}
	need := z.sizing().FlowLPH()
	switch {
	case need == 0 && !(z.plants.given && z.keys.perPlant.given && z.keys.flow.given):
		z.at.fail(CodeMissing, "give the zone `plants` and `emitters: {per_plant: 2, flow: 2 L/h}`", "what zone `%s` draws is not known, so max_flow of supply `%s` cannot be kept", z.id.v, supply.id.v)
	case need > supply.maxFlow.v:
		z.valvesAt.fail(CodeCapacity, "fewer plants on one zone, or a larger max_flow", "zone `%s` draws %.4g L/min, supply `%s` gives %s (max_flow)", z.id.v, need/60, supply.id.v, supply.maxFlow.text)
	}
}

// checkTransformer: what all of the zone's valves (and its master) hold, and the
// largest step of one inrush.
func (c *checker) checkTransformer(z *rawZone, ctl *rawController, supply *rawSupply, valves []*rawValve) {
	if len(valves) == 0 || !ctl.va.ok || !ctl.volts.ok {
		return
	}
	amps, step := 0.0, 0.0
	load := func(holding, inrush item[float64]) {
		amps += holding.v
		step = max(step, inrush.or(holding.v)-holding.v)
	}
	for _, v := range valves {
		load(v.holding, v.inrush)
	}
	if supply != nil && supply.master != nil && supply.master.controller.v == ctl.id.v {
		load(supply.master.holding, supply.master.inrush)
	}
	beside := ""
	if h := c.room.healthy; h != nil && h.controller.v == ctl.id.v && h.holding.ok {
		load(h.holding, h.inrush)
		beside = " beside what hangs on `healthy`"
	}
	if need := (amps + step) * ctl.volts.v; need > ctl.va.v*(1+1e-9) {
		z.valvesAt.fail(CodeCapacity, "a larger transformer, or fewer valves in one zone", "the valves of zone `%s` need %.4g VA while opening%s, the transformer of `%s` gives %s", z.id.v, need, beside, ctl.id.v, ctl.va.text)
	}
}

// checkLimits: the limits that nobody may leave open.
func (c *checker) checkLimits(z *rawZone) {
	k := &z.keys
	need := func(given bool, key, example string) {
		if !given {
			z.at.fail(CodeMissing, fmt.Sprintf("write it under `limits` of the zone or of `defaults`: `%s: %s`", key, example), "zone `%s` has no limit `%s`", z.id.v, key)
		}
	}
	need(k.maxRun.given, "max_run", "6 min")
	need(k.maxPerDay.given, "max_per_day", "60 min")
	need(k.maxMoisture.given, "max_moisture", "70 %")
	if k.maxMoisture.ok && k.maxMoisture.v > k.band().hi {
		k.maxMoisture.at.failIn(z.id.v, CodeConflict, "lower max_moisture, or widen `plausible`", "max_moisture is never seen in zone `%s`: readings over %s are not plausible", z.id.v, levelWords(k.band().hi))
	}
	if k.quorum.ok && k.quorum.at == z.own.quorum.at && c.probes(z.id.v) == 0 && z.id.ok {
		k.quorum.at.warn(CodeUnused, "give the zone probes, or remove `quorum`", "zone `%s` has no probes, so its quorum is never asked", z.id.v)
	}
}

// checkSoak: all three limits of a soak, or none. A soak has to end by a moisture that
// its probes can show.
func (c *checker) checkSoak(z *rawZone) {
	k := &z.keys
	run, day, wet := k.soakRun, k.soakPerDay, k.soakMoisture
	if !run.given && !day.given && !wet.given {
		return
	}
	need := func(given bool, key string) {
		if !given {
			z.at.fail(CodeMissing, "write all three, or none: `"+soakShape.example+"`", "the `soak` of zone `%s` has no `%s`", z.id.v, key)
		}
	}
	need(run.given, "max_run")
	need(day.given, "max_per_day")
	need(wet.given, "max_moisture")
	if run.ok && day.ok && run.v > day.v {
		run.at.failIn(z.id.v, CodeConflict, "raise the max_per_day of soaks, or shorten their runs", "the longest run of a soak is longer than the max_per_day of soaks in zone `%s`, %s", z.id.v, timeWords(day.v))
	}
	if wet.ok && wet.v > k.band().hi {
		wet.at.failIn(z.id.v, CodeConflict, "lower it, or widen `plausible`", "the max_moisture of soaks is never seen in zone `%s`: readings over %s are not plausible", z.id.v, levelWords(k.band().hi))
	}
}

// band gives the plausible moistures: 2 % to 95 % where the file is silent.
func (k *rawKeys) band() span { return k.plausible.or(span{2 * percent, 95 * percent}) }

const percent = zones.Level(1000)

// checkLost: the fallback by time stays within the zone's own limits.
func (c *checker) checkLost(z *rawZone) {
	l := z.keys.lost
	if !l.ok || l.v == nil {
		return
	}
	if z.own.lost.given && c.probes(z.id.v) == 0 && z.id.ok {
		l.at.warn(CodeUnused, "give the zone probes, or remove it", "zone `%s` has no probes to lose", z.id.v)
	}
	z.checkShot(l.v.shot.v, l.v.shot.at, "the shot for lost probes")
	d, ok := z.sizing().RunTime(l.v.shot.v)
	switch most := l.v.maxPerDay; {
	case ok && d > most.v:
		most.at.failIn(z.id.v, CodeConflict, "give it room for one shot at least", "max_per_day for lost probes is less than one shot, %s", timeWords(d))
	case z.keys.maxPerDay.ok && most.v > z.keys.maxPerDay.v:
		most.at.failIn(z.id.v, CodeConflict, "it is a part of the zone's max_per_day ("+z.keys.maxPerDay.at.short()+")", "max_per_day for lost probes is more than the max_per_day of zone `%s`, %s", z.id.v, timeWords(z.keys.maxPerDay.v))
	}
	if rest := z.keys.minRest.or(5 * time.Minute); ok && l.v.every.v < d+rest {
		l.v.every.at.failIn(z.id.v, CodeConflict, "let more time pass between two shots", "`every` leaves less than the rest of %s between two shots", timeWords(rest))
	}
}

// checkHouse: the house's own rules. More probes on a terminal are an error, the
// others are warnings.
func (c *checker) checkHouse() {
	rules := c.room.house.rules()
	for i := range c.room.controllers {
		for j := range c.room.controllers[i].terminals {
			t := &c.room.controllers[i].terminals[j]
			if n := len(t.probes); n > rules.ProbesPerTerminal {
				t.probes[rules.ProbesPerTerminal].at.fail(CodeHouse, "use another terminal, or raise `house_rules: {probes_per_terminal: ...}`", "terminal %d of `%s` has %d probes: at most %d", t.number.v, c.room.controllers[i].id.v, n, rules.ProbesPerTerminal)
			}
			c.checkFarthest(t, rules.FarthestProbeM)
		}
	}
	c.checkValveWire(rules.ValveWire)
	for i := range c.room.zones {
		z := &c.room.zones[i]
		if n := c.probes(z.id.v); n > 0 && z.canopy.ok && z.canopy.v/float64(n) > rules.CanopyPerProbeM2*(1+1e-9) {
			z.canopy.at.warn(CodeHouse, "add probes", "zone `%s` has %s of canopy on each probe: the house rule is %s", z.id.v, c.areaWords(z.canopy.v/float64(n)), c.areaWords(rules.CanopyPerProbeM2))
		}
	}
}

func (c *checker) checkFarthest(t *rawTerminal, most float64) {
	w := t.wiring()
	for i := range w.Probes {
		if run := w.Run(i); run.Over(most) {
			m, _ := run.Value()
			t.probes[i].at.warn(CodeHouse, "a shorter way, or a terminal nearer to it", "the probe `%s` is %s of cable away: the house rule is %s", w.Probes[i].ID, c.lengthWords(m), c.lengthWords(most))
		}
	}
}

// checkValveWire: the wire of valves and masters, against the house's finest.
func (c *checker) checkValveWire(least wiring.Wire) {
	check := func(w item[measured], what string) {
		if w.ok && wire(w).Finer(least) {
			w.at.warn(CodeHouse, "use "+least.String()+" or thicker, or write what your house uses: `house_rules: {valve_wire: ...}`", "the wire of %s is %s: the house rule is %s at least", what, w.text, least)
		}
	}
	for _, v := range c.room.valves {
		check(v.wire, "valve `"+v.id.v+"`")
	}
	for _, s := range c.room.supplies {
		if s.master != nil {
			check(s.master.wire, "the master of supply `"+s.id.v+"`")
		}
	}
}
