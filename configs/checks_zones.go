package configs

import (
	"fmt"
	"strconv"
	"time"

	"rillgate/schedule"
	"rillgate/zones"
)

func itoa(n int) string { return strconv.Itoa(n) }

// checkZonePlans: what each zone follows, against the zone's own numbers.
func (c *checker) checkZonePlans() {
	known := idsOf(c.room.zones, func(z *rawZone) item[string] { return z.id })
	for i := range c.schedule.zones {
		p := &c.schedule.zones[i]
		z := c.zone(p.zone)
		if z == nil && len(known) > 0 {
			p.at.fail(CodeReference, knownHint("zones of room.yaml", known, p.zone), "there is no zone `%s` in room.yaml", p.zone)
		}
		if c.checkFollowed(p) && z != nil {
			c.checkNumbers(z, p)
			c.checkProbes(z, p)
		}
	}
	for i := range c.room.zones {
		if z := &c.room.zones[i]; z.id.ok && c.followed(z.id.v) == nil {
			c.schedule.zonesAt.warn(CodeUnnamed, "name it under `zones`; a zone that gets no water says `"+z.id.v+": none`", "the zone `%s` is not named: it gets no water", z.id.v)
		}
	}
}

// followed finds what the schedule says of a zone.
func (c *checker) followed(zone string) *rawZonePlan {
	for i := range c.schedule.zones {
		if c.schedule.zones[i].zone == zone {
			return &c.schedule.zones[i]
		}
	}
	return nil
}

// checkFollowed: a zone follows one crop or one routine that exists.
func (c *checker) checkFollowed(p *rawZonePlan) bool {
	switch {
	case p.crop.given && p.routine.given:
		p.routine.at.fail(CodeConflict, "leave one of them away", "the zone `%s` follows a crop and a routine", p.zone)
	case p.crop.ok && c.schedule.crop(p.crop.v) == nil:
		var names []string
		for _, x := range c.schedule.crops {
			names = append(names, x.name)
		}
		p.crop.at.fail(CodeReference, knownHint("crops", names, p.crop.v), "there is no crop `%s`", p.crop.v)
	case p.routine.ok && c.schedule.routine(p.routine.v) == nil:
		p.routine.at.fail(CodeReference, knownHint("routines", c.schedule.routineNames(), p.routine.v), "there is no routine `%s`", p.routine.v)
	default:
		return p.crop.ok || p.routine.ok || p.isList
	}
	return false
}

func (s *rawSchedule) crop(name string) *rawCrop {
	for i := range s.crops {
		if s.crops[i].name == name {
			return &s.crops[i]
		}
	}
	return nil
}

// stagesOf gives the lists of windows that a zone goes through.
func (c *checker) stagesOf(p *rawZonePlan) (lists [][]rawWindow) {
	switch {
	case p.isList:
		return [][]rawWindow{p.windows}
	case p.routine.ok:
		return [][]rawWindow{c.schedule.routine(p.routine.v).windows}
	}
	for _, st := range c.schedule.crop(p.crop.v).stages {
		if r := c.schedule.routine(st.routine.v); r != nil {
			lists = append(lists, r.windows)
		}
	}
	return lists
}

// checkProbes: moisture needs probes, and as many as the quorum asks for.
func (c *checker) checkProbes(z *rawZone, p *rawZonePlan) {
	have, needs := c.probes(z.id.v), false
	for _, windows := range c.stagesOf(p) {
		for i := range windows {
			w := &windows[i]
			if !w.timed() && have == 0 {
				w.at.failIn(z.id.v, CodeReference, "give the zone probes in room.yaml, or make the window timed: no below, stop_at and dry_back", "the window `%s` asks for the moisture of zone `%s`, which has no probes", w.name.v, z.id.v)
			}
			needs = needs || !w.timed() || have > 0 && !w.withoutProbes.v
		}
	}
	if q := z.keys.quorum; needs && have > 0 && q.ok && q.v > have {
		q.at.failIn(z.id.v, CodeConflict, fmt.Sprintf("give zone `%s` a quorum of its own (`moisture: {quorum: %d}`), or more probes", z.id.v, have), "the quorum, %d, is more than the %s of zone `%s`", q.v, counted(have, "probe"), z.id.v)
	}
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return itoa(n) + " " + what + "s"
}

// checkNumbers: every window as it will be, eased and scaled. An eased number moves
// evenly, so it and its distance to another are at their worst on the first or the
// last day of the ease.
func (c *checker) checkNumbers(z *rawZone, p *rawZonePlan) {
	crop, raw := c.numbersOf(p)
	plan := schedule.Zone{Named: true, Crop: crop, Scale: p.scale}
	for i, st := range crop.Stages {
		if len(raw[i]) > maxWindows {
			continue
		}
		for _, day := range []int{st.FromDay, st.FromDay + max(st.EaseFor, 1) - 1} {
			for j, w := range numbersOn(&plan, day) {
				z.checkWindow(&raw[i][j], &w, p, daySaid(p, day))
			}
		}
	}
}

// numbersOf gives the zone's stages with windows that only carry numbers: one opens
// at each minute of the day, so that the schedule's own reckoning can be asked for
// all of them.
func (c *checker) numbersOf(p *rawZonePlan) (*schedule.Crop, [][]rawWindow) {
	crop := &schedule.Crop{Day1: schedule.Date{Year: 2026, Month: time.January, Day: 1}}
	var raw [][]rawWindow
	if !p.crop.ok {
		raw = c.stagesOf(p)
		crop.Stages = []schedule.Stage{{FromDay: 1, Windows: numbers(raw[0])}}
		return crop, raw
	}
	last := 0
	for _, st := range c.schedule.crop(p.crop.v).stages {
		r := c.schedule.routine(st.routine.v)
		if r == nil || !st.from.ok || st.from.v <= last {
			continue
		}
		last = st.from.v
		raw = append(raw, r.windows)
		crop.Stages = append(crop.Stages, schedule.Stage{FromDay: st.from.v, Windows: numbers(r.windows), EaseFor: int(st.ease.v / wholeDay)})
	}
	return crop, raw
}

func numbers(windows []rawWindow) []schedule.Window {
	out := make([]schedule.Window, len(windows))
	for i := range windows {
		w := windows[i].window()
		opens := time.Duration(i) * time.Minute
		out[i] = schedule.Window{Name: w.Name, From: schedule.Edge{Offset: opens}, Until: schedule.Edge{Offset: opens + time.Minute},
			Below: w.Below, StopAt: w.StopAt, DryBack: w.DryBack, Floor: w.Floor, Shot: w.Shot, Rest: w.Rest, MaxShots: w.MaxShots}
	}
	return out
}

// numbersOn gives the windows as they are on a day of the crop.
func numbersOn(z *schedule.Zone, day int) []schedule.Window {
	d := z.Crop.Day1
	from := time.Date(d.Year, d.Month, d.Day+day-1, 0, 0, 0, 0, time.UTC)
	found := schedule.Upcoming(&schedule.Calendar{Location: time.UTC}, z, from, from.Add(wholeDay-time.Second))
	out := make([]schedule.Window, 0, len(found))
	for _, in := range found {
		if !in.Start.Before(from) {
			out = append(out, in.Window)
		}
	}
	return out
}

func daySaid(p *rawZonePlan, day int) string {
	if p.crop.ok {
		return " on day " + itoa(day) + " of crop `" + p.crop.v + "`"
	}
	return ""
}

// checkWindow checks one window's numbers as they are in force in the zone.
func (z *rawZone) checkWindow(raw *rawWindow, w *schedule.Window, p *rawZonePlan, when string) {
	if raw.below.ok && raw.stopAt.ok && raw.stopAt.v > raw.below.v && w.StopAt <= w.Below {
		raw.stopAt.at.failIn(z.id.v, CodeConflict, "mind scale and ease: checks apply to what comes out of them", "stop_at, %s, is not over below, %s, in zone `%s`%s", levelWords(w.StopAt), levelWords(w.Below), z.id.v, when)
	}
	if limit := z.keys.maxMoisture; limit.ok {
		for _, l := range []struct {
			key     string
			raw     item[zones.Level]
			inForce zones.Level
		}{{"below", raw.below, w.Below}, {"stop_at", raw.stopAt, w.StopAt}, {"floor", raw.floor, w.Floor}} {
			if l.raw.ok && l.inForce >= limit.v {
				l.raw.at.failIn(z.id.v, CodeConflict, "a level lies under max_moisture ("+limit.at.short()+")", "%s, %s, is not under max_moisture, %s, in zone `%s`%s", l.key, levelWords(l.inForce), levelWords(limit.v), z.id.v, scaledWords(p, when))
			}
		}
	}
	if raw.shot.ok {
		z.checkShot(w.Shot, raw.shot.at, "the shot of window `"+raw.name.v+"`"+scaledWords(p, when))
	}
}

// scaledWords says from which day or factor a number comes that the file does not show.
func scaledWords(p *rawZonePlan, when string) string {
	if p.scale != (schedule.Scale{}) {
		return " (scaled in line " + itoa(p.scaleAt.line) + ")" + when
	}
	return when
}

// checkAlarms: alarm levels that can be reached.
func (c *checker) checkAlarms() {
	for i := range c.schedule.alarms {
		a := &c.schedule.alarms[i]
		if a.zone != "all" && c.zone(a.zone) == nil && len(c.room.zones) > 0 {
			known := append([]string{"all"}, idsOf(c.room.zones, func(z *rawZone) item[string] { return z.id })...)
			a.at.fail(CodeReference, knownHint("zones of room.yaml", known, a.zone), "there is no zone `%s` in room.yaml", a.zone)
		}
	}
	for i := range c.room.zones {
		z := &c.room.zones[i]
		below, hold := c.dryOf(z.id.v)
		switch {
		case below.ok && z.keys.maxMoisture.ok && below.v >= z.keys.maxMoisture.v:
			below.at.failIn(z.id.v, CodeConflict, "the dry alarm lies under max_moisture ("+z.keys.maxMoisture.at.short()+")", "the dry alarm at %s is not under max_moisture, %s, in zone `%s`", levelWords(below.v), levelWords(z.keys.maxMoisture.v), z.id.v)
		case hold.given && !below.given:
			hold.at.failIn(z.id.v, CodeMissing, "write `dry: {below: 38 %, for: 20 min}`", "the dry alarm of zone `%s` has no level: `below` is missing", z.id.v)
		}
		pore, warm := c.bandsOf(z.id.v)
		pore.check(z.id.v, poreShape.example)
		warm.check(z.id.v, warmShape.example)
	}
}

// dryOf gives the dry alarm of a zone: its own keys over those of `all`, one by one.
func (c *checker) dryOf(zone string) (below item[zones.Level], hold item[time.Duration]) {
	for _, name := range []string{"all", zone} {
		for i := range c.schedule.alarms {
			if a := &c.schedule.alarms[i]; a.zone == name {
				below, hold = pick(a.below, below), pick(a.hold, hold)
			}
		}
	}
	return below, hold
}

// bandsOf gives the bands of a zone: its own keys over those of `all`, one by one.
func (c *checker) bandsOf(zone string) (pore, warm rawBand) {
	for _, name := range []string{"all", zone} {
		for i := range c.schedule.alarms {
			if a := &c.schedule.alarms[i]; a.zone == name {
				pore, warm = a.pore.over(pore), a.warm.over(warm)
			}
		}
	}
	return pore, warm
}

func (b rawBand) over(d rawBand) rawBand {
	if !b.at.ok() {
		b.at = d.at
	}
	b.below, b.above, b.hold = pick(b.below, d.below), pick(b.above, d.above), pick(b.hold, d.hold)
	return b
}

// check: a band has an end, and its ends stand in order.
func (b rawBand) check(zone, example string) {
	switch {
	case b.below.ok && b.above.ok && b.below.v >= b.above.v:
		b.below.at.failIn(zone, CodeConflict, "write `"+example+"`", "the band of zone `%s` is empty: `below` is not under `above`", zone)
	case b.hold.given && !b.below.given && !b.above.given:
		b.hold.at.failIn(zone, CodeMissing, "write `"+example+"`", "the band of zone `%s` has no end: `below` or `above` is missing", zone)
	}
}

func (b rawBand) plan() *zones.Band {
	if !b.below.ok && !b.above.ok {
		return nil
	}
	out := &zones.Band{For: b.hold.or(builtInBand)}
	if b.below.ok {
		out.Below = &b.below.v
	}
	if b.above.ok {
		out.Above = &b.above.v
	}
	return out
}
