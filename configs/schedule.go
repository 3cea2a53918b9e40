package configs

import (
	"fmt"
	"strings"

	"go.yaml.in/yaml/v4"

	"rillgate/schedule"
)

// readSchedule reads schedule.yaml; what is bad is noted and left out.
func readSchedule(s *source, root *yaml.Node) *rawSchedule {
	t := s.readTable(root, scheduleShape)
	r := &rawSchedule{zonesAt: t.whereIs("zones"), hasDay: t.has("day"), days: readDays(t)}
	t.eachEntry("routines", func(name string, at place, n *yaml.Node) {
		r.routines = append(r.routines, rawRoutine{name, at, readWindows(s, n, name)})
	})
	t.eachEntry("crops", func(name string, at place, n *yaml.Node) {
		if e := s.readTable(n, cropShape); e.sound {
			r.crops = append(r.crops, readCrop(name, at, e))
		}
	})
	t.eachEntry("zones", func(name string, at place, n *yaml.Node) {
		r.zones = append(r.zones, readZonePlan(s, name, at, n))
	})
	t.eachEntry("alarms", func(name string, at place, n *yaml.Node) {
		e := s.readTable(n, alarmsShape)
		dry := e.table("dry")
		r.alarms = append(r.alarms, rawAlarm{zone: name, at: at, below: dry.level("below"), hold: dry.duration("for"),
			pore: readBand(e.table("pore_ec")), warm: readBand(e.table("root_temperature"))})
	})
	return r
}

func readBand(t *table) rawBand {
	return rawBand{at: t.at, below: t.number("below"), above: t.number("above"), hold: t.duration("for")}
}

// eachEntry visits a mapping from ids; ids that are none are noted and left out.
func (t *table) eachEntry(key string, visit func(name string, at place, n *yaml.Node)) {
	n := t.node(key)
	if n == nil || n.Kind == yaml.AliasNode {
		return
	}
	if n.Kind != yaml.MappingNode {
		t.src.at(n).fail(CodeKind, "write `"+key+": {name: ...}`", "%s stands where a mapping (keys with values) is due", kindOf(n))
		return
	}
	if len(n.Content) > 2*maxElements {
		t.src.at(n).fail(CodeRange, "split the room", "`%s` has more than %d entries", key, maxElements)
		return
	}
	empty := func(name string, at place) bool {
		hint := "give it a value, or remove it"
		if key == "zones" {
			hint = "a zone that gets no water says so: `" + shorten(name) + ": none`"
		}
		at.fail(CodeNoValue, hint, "`%s` has no value", shorten(name))
		return true
	}
	t.src.eachPair(n, func(name string, at place, value *yaml.Node) {
		if _, f := parseIdent(&yaml.Node{Value: name}, nil); f != nil {
			at.fail(f.code, f.hint, "%s", f.message)
			return
		}
		visit(name, at, value)
	}, empty)
}

// readDays reads one day, or a list of dated ones.
func readDays(t *table) []rawDay {
	n := t.node("day")
	switch {
	case n == nil || n.Kind == yaml.AliasNode:
		return nil
	case n.Kind != yaml.SequenceNode:
		if e := t.src.readTable(n, dayShape); e.sound {
			return []rawDay{{at: e.at, on: e.clock("lights_on"), off: e.clock("lights_off")}}
		}
		return nil
	}
	var days []rawDay
	elements, _ := t.src.readList(n, "day", listOf{datedDayShape, 1})
	for _, m := range elements {
		if e := t.src.readTable(m, datedDayShape); e.sound {
			days = append(days, rawDay{e.at, e.date("from"), e.clock("lights_on"), e.clock("lights_off")})
		}
	}
	return days
}

func readWindows(s *source, n *yaml.Node, name string) (windows []rawWindow) {
	if n.Kind == yaml.AliasNode {
		return nil
	}
	elements, _ := s.readList(n, name, routineKind)
	for _, m := range elements {
		if e := s.readTable(m, windowShape); e.sound {
			windows = append(windows, readWindow(e))
		}
	}
	return windows
}

func readWindow(t *table) rawWindow {
	return rawWindow{at: t.at, name: t.ident("window"), cron: read(t, "cron", parseCron), from: t.edge("from"), until: t.edge("until"),
		on: readOn(t), length: t.duration("for"), rest: t.duration("rest"),
		below: t.level("below"), stopAt: t.level("stop_at"), dryBack: t.level("dry_back"), floor: t.level("floor"),
		shot: t.shot("shot"), maxShots: t.integer("max_shots"), withoutProbes: t.boolean("without_probes")}
}

// parseCron reads a cron expression, in quotes: a bare * is YAML's own.
func parseCron(n *yaml.Node, _ kind) (string, *fault) {
	if err := schedule.ParseCron(n.Value); err != nil {
		hint := `minute, hour, day of month, month, weekday: "30 12 * * MON"`
		if strings.Contains(n.Value, "TZ=") {
			hint = "leave it away: windows go by the time_zone of room.yaml"
		}
		return "", &fault{CodeText, err.Error(), hint}
	}
	return strings.Join(strings.Fields(n.Value), " "), nil
}

// readOn reads a list of weekdays.
func readOn(t *table) item[schedule.Weekdays] {
	out := item[schedule.Weekdays]{at: t.keyAt["on"], given: t.has("on"), ok: true}
	elements, ok := t.list("on")
	if !ok {
		out.ok = false
		return out
	}
	for _, n := range elements {
		d := readNode(t.src, n, word(weekdays[:]), parseWeekday)
		bit := schedule.Weekdays(1) << d.v
		switch {
		case !d.ok:
			out.ok = false
		case out.v&bit != 0:
			d.at.fail(CodeDuplicate, "remove one of the two", "`%s` stands twice in `on`", n.Value)
			out.ok = false
		}
		out.v |= bit
	}
	out.ok = out.ok && out.v != 0
	return out
}

func parseWeekday(n *yaml.Node, _ kind) (int, *fault) {
	for i, d := range weekdays {
		if n.Value == d {
			return i, nil
		}
	}
	hint := "write mon, tue, wed, thu, fri, sat or sun"
	for _, d := range weekdays {
		if strings.HasPrefix(strings.ToLower(n.Value), d) {
			hint = "write `" + d + "`"
		}
	}
	return 0, &fault{CodeText, fmt.Sprintf("`%s` is no day of the week", shorten(n.Value)), hint}
}

func readCrop(name string, at place, t *table) rawCrop {
	c := rawCrop{name: name, at: at, day1: t.date("day_1"), ends: t.cropDay("ends")}
	eachTable(t, "stages", stageShape, func(e *table) {
		c.stages = append(c.stages, rawStage{e.at, e.cropDay("from"), e.ident("routine"), e.duration("ease")})
	})
	return c
}

// readZonePlan reads `none`, a mapping with a crop or a routine, or a list of windows.
func readZonePlan(s *source, name string, at place, n *yaml.Node) rawZonePlan {
	z := rawZonePlan{zone: name, at: at}
	switch n.Kind {
	case yaml.SequenceNode:
		z.isList, z.windows = true, readWindows(s, n, name)
	case yaml.ScalarNode:
		z.none = readNode(s, n, word{"none"}, parseNone).ok
	case yaml.MappingNode:
		t := s.readTable(n, zonePlanShape)
		z.at, z.crop, z.routine = at, t.ident("crop"), t.ident("routine")
		z.scale, z.scaleAt = readScale(t.table("scale"))
		if !t.has("crop") && !t.has("routine") {
			at.fail(CodeMissing, "write `{crop: NAME}`, `{routine: NAME}`, a list of windows, or `none`", "the zone `%s` follows neither a crop nor a routine", name)
		}
	}
	return z
}

func parseNone(n *yaml.Node, _ kind) (string, *fault) {
	if n.Value == "none" {
		return n.Value, nil
	}
	return "", &fault{CodeText, fmt.Sprintf("`%s` is nothing that a zone can follow", shorten(n.Value)),
		fmt.Sprintf("write `{routine: %s}`, `{crop: NAME}`, a list of windows, or `none`", shorten(n.Value))}
}

func readScale(t *table) (schedule.Scale, place) {
	return schedule.Scale{Shot: t.decimal("shot").v, Below: t.decimal("below").v, StopAt: t.decimal("stop_at").v, DryBack: t.decimal("dry_back").v,
		Floor: t.decimal("floor").v, Rest: t.decimal("rest").v, MaxShots: t.decimal("max_shots").v}, t.at
}
