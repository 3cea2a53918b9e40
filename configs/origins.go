package configs

import (
	"fmt"
	"time"

	"rillgate/zones"
)

// Origin is one value in force in a zone, and where it came from.
type Origin struct {
	Key   string `json:"key"`   // "limits.max_run"
	Value string `json:"value"` // as written, or in words
	From  string `json:"from"`  // "room.yaml:31", "room.yaml:24 (defaults)", "built in", "not given"
}

// origins gives each zone's values with their places.
func (c *checker) origins() map[string][]Origin {
	out := map[string][]Origin{}
	for i := range c.room.zones {
		z := &c.room.zones[i]
		l := originList{own: z.at}
		c.zoneOrigins(&l, z)
		c.scheduleOrigins(&l, z)
		out[z.id.v] = l.list
	}
	return out
}

// originList gathers the values of one zone.
type originList struct {
	own  place
	list []Origin
}

// origin adds a value; where it is not written, silent says what holds then ("" =
// nothing does).
func origin[T any](l *originList, key string, v, own item[T], silent string) {
	switch {
	case v.given && own.given:
		l.list = append(l.list, Origin{key, v.text, v.at.short()})
	case v.given:
		l.list = append(l.list, Origin{key, v.text, v.at.short() + " (defaults)"})
	case silent != "":
		l.list = append(l.list, Origin{key, silent, "built in"})
	default:
		l.list = append(l.list, Origin{key, "-", "not given"})
	}
}

func (c *checker) zoneOrigins(l *originList, z *rawZone) {
	k, o := &z.keys, &z.own
	origin(l, "name", z.name, z.name, z.id.v)
	origin(l, "canopy", z.canopy, z.canopy, "")
	origin(l, "plants", z.plants, z.plants, "")
	for _, v := range z.valves {
		origin(l, "valves", v, v, "")
	}
	l.list = append(l.list, Origin{"probes", itoa(c.probes(z.id.v)), RoomFile})
	origin(l, "substrate.kind", k.substrate, o.substrate, "")
	origin(l, "substrate.volume_per_plant", k.volume, o.volume, "")
	origin(l, "substrate.height", k.height, o.height, "")
	curveOrigins(l, k, o)
	origin(l, "emitters.per_plant", k.perPlant, o.perPlant, "")
	origin(l, "emitters.flow", k.flow, o.flow, "")
	origin(l, "moisture.combine", k.combine, o.combine, string(zones.Median))
	origin(l, "moisture.quorum", k.quorum, o.quorum, itoa(defaultQuorum(c.probes(z.id.v))))
	origin(l, "moisture.stale_after", k.stale, o.stale, timeWords(builtInStale))
	origin(l, "moisture.plausible", k.plausible, o.plausible, levelWords(k.band().lo)+" to "+levelWords(k.band().hi))
	origin(l, "moisture.ec", k.ec, o.ec, ecAsMeasured)
	origin(l, "limits.max_run", k.maxRun, o.maxRun, "")
	origin(l, "limits.min_rest", k.minRest, o.minRest, timeWords(builtInRest))
	origin(l, "limits.max_per_day", k.maxPerDay, o.maxPerDay, "")
	origin(l, "limits.max_moisture", k.maxMoisture, o.maxMoisture, "")
	origin(l, "limits.soak.max_run", k.soakRun, o.soakRun, "")
	origin(l, "limits.soak.max_per_day", k.soakPerDay, o.soakPerDay, "")
	origin(l, "limits.soak.max_moisture", k.soakMoisture, o.soakMoisture, "")
	lostOrigins(l, k.lost, o.lost)
	origin(l, "require_walk", k.walk, o.walk, "false")
}

func lostOrigins(l *originList, lost, own item[*rawLost]) {
	if lost.ok && lost.v != nil {
		lost.text = fmt.Sprintf("timed: %s every %s, at most %s a day", lost.v.shot.text, lost.v.every.text, lost.v.maxPerDay.text)
	}
	origin(l, "on_lost_probes", lost, own, "close")
}

func (c *checker) scheduleOrigins(l *originList, z *rawZone) {
	p := c.followed(z.id.v)
	switch {
	case p == nil:
		l.list = append(l.list, Origin{"schedule", "not named: no water", "built in"})
	case p.crop.ok:
		origin(l, "schedule.crop", p.crop, p.crop, "")
	case p.routine.ok:
		origin(l, "schedule.routine", p.routine, p.routine, "")
	case p.isList:
		l.list = append(l.list, Origin{"schedule", counted(len(p.windows), "window"), p.at.short()})
	default:
		l.list = append(l.list, Origin{"schedule", "none", p.at.short()})
	}
	if p != nil && p.scaleAt.ok() {
		l.list = append(l.list, Origin{"schedule.scale", scaleWords(p), p.scaleAt.short()})
	}
	below, hold := c.dryOf(z.id.v)
	origin(l, "alarms.dry.below", below, below, "")
	if below.ok {
		origin(l, "alarms.dry.for", hold, hold, timeWords(time.Duration(builtInDryTime)))
	}
}

func scaleWords(p *rawZonePlan) (s string) {
	for _, f := range []struct {
		key string
		by  float64
	}{{"shot", p.scale.Shot}, {"below", p.scale.Below}, {"stop_at", p.scale.StopAt}, {"dry_back", p.scale.DryBack},
		{"floor", p.scale.Floor}, {"rest", p.scale.Rest}, {"max_shots", p.scale.MaxShots}} {
		if f.by != 0 {
			s += fmt.Sprintf(", %s x %g", f.key, f.by)
		}
	}
	if s == "" {
		return "-"
	}
	return s[2:]
}
