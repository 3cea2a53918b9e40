package configs

import (
	"fmt"
	"strings"
	"time"
	_ "time/tzdata" // a minimal box may lack the time zone database

	"go.yaml.in/yaml/v4"
)

// readRoom reads room.yaml; what is bad is noted and left out.
func readRoom(s *source, root *yaml.Node) *rawRoom {
	t := s.readTable(root, roomShape)
	head := t.table("room")
	r := &rawRoom{id: head.ident("id"), name: head.label("name"), units: head.word("units"),
		zone: read(head, "time_zone", parseZone), suppliesAt: t.whereIs("valves"), house: readHouse(t.table("house_rules")),
		defaults: readKeys(t.table("defaults"))}
	eachTable(head, "contacts", contactShape, func(e *table) {
		r.contacts = append(r.contacts, rawContact{name: e.label("name"), role: e.label("role"), phone: e.label("phone")})
	})
	eachTable(t, "controllers", controllerShape, func(e *table) { r.controllers = append(r.controllers, readController(e)) })
	eachTable(t, "supplies", supplyShape, func(e *table) { r.supplies = append(r.supplies, readSupply(e)) })
	eachTable(t, "valves", valveShape, func(e *table) { r.valves = append(r.valves, readValve(e)) })
	if h := t.table("healthy"); h.sound {
		r.healthy = readHealthy(h)
	}
	eachTable(t, "zones", zoneShape, func(e *table) { r.zones = append(r.zones, readZone(e, &r.defaults)) })
	return r
}

// eachTable visits the mappings in a key's list.
func eachTable(t *table, key string, sh *shape, visit func(e *table)) {
	elements, _ := t.list(key)
	for _, n := range elements {
		if e := t.src.readTable(n, sh); e.sound {
			visit(e)
		}
	}
}

// parseZone reads a name of the time zone database.
func parseZone(n *yaml.Node, _ kind) (*time.Location, *fault) {
	name := n.Value
	if name == "" || name == "Local" || strings.HasPrefix(name, "/") {
		return nil, &fault{CodeText, fmt.Sprintf("`%s` is no time zone", shorten(name)), "name it as the time zone database does: America/Chicago, Europe/Lisbon, Etc/GMT+6"}
	}
	loc, err := time.LoadLocation(name)
	if err != nil {
		return nil, &fault{CodeText, fmt.Sprintf("the time zone `%s` is unknown", shorten(name)), "name it as the time zone database does: America/Chicago, Europe/Lisbon, Etc/GMT+6"}
	}
	return loc, nil
}

func readController(t *table) rawController {
	power := t.table("power")
	c := rawController{at: t.at, id: t.ident("id"), volts: power.number("voltage"), va: power.number("rating"), powerKind: power.word("kind")}
	eachTable(t, "terminals", terminalShape, func(e *table) { c.terminals = append(c.terminals, readTerminal(e)) })
	eachTable(t, "inputs", inputShape, func(e *table) {
		c.inputs = append(c.inputs, rawInput{at: e.at, id: e.ident("id"), means: e.word("means"), contact: e.word("contact")})
	})
	return c
}

func readTerminal(t *table) rawTerminal {
	r := rawTerminal{at: t.at, number: t.integer("number"), layout: t.word("layout"), homeRun: t.number("home_run"), cable: readWire(t, "cable"),
		volts: t.number("voltage"), draw: t.number("draw")}
	eachTable(t, "probes", probeShape, func(e *table) {
		r.probes = append(r.probes, rawProbe{at: e.at, id: e.ident("id"), address: read(e, "address", parseAddress),
			zone: e.ident("zone"), label: e.label("label"), lead: e.number("lead"), tail: e.number("tail"), offset: e.level("offset"), draw: e.number("draw")})
	})
	return r
}

// parseAddress reads one character in quotes: a bare 0 is a number to YAML.
func parseAddress(n *yaml.Node, _ kind) (string, *fault) {
	v := n.Value
	switch {
	case len(v) == 1 && strings.ContainsAny(strings.ToLower(v), "0123456789abcdefghijklmnopqrstuvwxyz"):
		if n.Tag != "!!str" {
			return "", &fault{CodeText, fmt.Sprintf("the address `%s` stands without quotes", v), fmt.Sprintf("put it in quotes: \"%s\"", v)}
		}
		return v, nil
	}
	return "", &fault{CodeText, fmt.Sprintf("`%s` is no probe address", shorten(v)), `an address is one character, 0-9, A-Z or a-z, in quotes: "0"`}
}

// readWire reads a wire's size; a gauge is a whole number.
func readWire(t *table, key string) item[measured] {
	w := t.quantity(key)
	if w.ok && w.v.dim == gauge && !w.v.value.IsInt() {
		w.at.fail(CodeRange, "write a whole gauge, for example `22 AWG`", "`%s` is no wire gauge", w.text)
		w.ok = false
	}
	return w
}

func readSupply(t *table) rawSupply {
	s := rawSupply{at: t.at, id: t.ident("id"), low: t.ident("low"), maxOpen: t.integer("max_open"), maxFlow: t.number("max_flow")}
	if m := t.table("master"); m.sound {
		s.master = &rawMaster{at: m.at, controller: m.ident("controller"), output: m.integer("output"), kind: m.word("kind"),
			lead: m.duration("lead"), length: m.number("length"), wire: readWire(m, "wire"), holding: m.number("holding"), inrush: m.number("inrush")}
	}
	return s
}

func readHealthy(t *table) *rawHealthy {
	return &rawHealthy{controller: t.ident("controller"), output: t.integer("output"), drives: t.label("drives"),
		length: t.number("length"), wire: readWire(t, "wire"), holding: t.number("holding"), inrush: t.number("inrush")}
}

func readValve(t *table) rawValve {
	return rawValve{at: t.at, id: t.ident("id"), controller: t.ident("controller"), supply: t.ident("supply"),
		output: t.integer("output"), length: t.number("length"), wire: readWire(t, "wire"),
		holding: t.number("holding"), inrush: t.number("inrush")}
}

func readHouse(t *table) rawHouse {
	return rawHouse{perTerminal: t.integer("probes_per_terminal"), farthest: t.number("farthest_probe"), canopy: t.number("canopy_per_probe"),
		valveWire: readWire(t, "valve_wire")}
}

func readZone(t *table, defaults *rawKeys) rawZone {
	z := rawZone{at: t.at, id: t.ident("id"), name: t.label("name"), canopy: t.number("canopy"), plants: t.integer("plants"),
		valvesAt: t.whereIs("valves"), own: readKeys(t)}
	elements, _ := t.list("valves")
	for _, n := range elements {
		z.valves = append(z.valves, readNode(t.src, n, ident{}, parseIdent))
	}
	z.keys = z.own.over(defaults)
	return z
}
