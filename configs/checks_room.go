package configs

import (
	"fmt"
	"slices"

	"rillgate/zones"
)

// reservedZones mean more than one zone to the commands and files.
var reservedZones = map[string]string{"all": "every zone", "room": "the whole room", "budget": "the budget of a zone"}

func (c *checker) checkIDs() {
	controllers, supplies, valves, beds := register{}, register{}, register{}, register{}
	for _, x := range c.room.controllers {
		controllers.claim("controller", x.id)
	}
	for _, x := range c.room.supplies {
		supplies.claim("supply", x.id)
		if x.id.ok && x.master != nil {
			valves[x.id.v+"-master"] = x.master.at
		}
	}
	for _, x := range c.room.valves {
		valves.claim("valve", x.id)
	}
	for _, x := range c.room.zones {
		beds.claim("zone", x.id)
		if meaning, reserved := reservedZones[x.id.v]; reserved && x.id.ok {
			x.id.at.fail(CodeText, "give the zone another id", "`%s` is no id for a zone: it stands for %s", x.id.v, meaning)
		}
	}
}

func (c *checker) checkTerminals() {
	probes := register{}
	for _, ctl := range c.room.controllers {
		numbers, places := map[int]place{}, map[string]rawProbe{}
		for _, t := range ctl.terminals {
			if first, taken := numbers[t.number.v]; t.number.ok && taken {
				t.number.at.fail(CodeWiring, "put all probes of a terminal into one list", "terminal %d of `%s` stands twice: first in line %d", t.number.v, ctl.id.v, first.line)
			} else if t.number.ok {
				numbers[t.number.v] = t.number.at
			}
			for _, p := range t.probes {
				c.checkProbe(p, probes)
				claimPlace(places, ctl.id.v, t.number, p)
			}
		}
	}
}

func (c *checker) checkProbe(p rawProbe, probes register) {
	if p.id.ok {
		if first, taken := probes[p.id.v]; taken {
			p.id.at.fail(CodeWiring, "give one of them another id", "the probe `%s` is in two places: also in line %d", p.id.v, first.line)
		} else {
			probes[p.id.v] = p.id.at
		}
	}
	if p.zone.ok && c.zone(p.zone.v) == nil {
		p.zone.at.fail(CodeReference, knownHint("zones", idsOf(c.room.zones, func(z *rawZone) item[string] { return z.id }), p.zone.v), "there is no zone `%s`", p.zone.v)
	}
}

func claimPlace(places map[string]rawProbe, controller string, terminal item[int], p rawProbe) {
	if !terminal.ok || !p.address.ok {
		return
	}
	at := zones.Place{Controller: controller, Terminal: terminal.v, Address: p.address.v}.String()
	if first, taken := places[at]; taken {
		p.address.at.fail(CodeWiring, "give each probe of a terminal its own address", "the place %s is taken by the probe `%s` in line %d", at, first.id.v, first.address.at.line)
		return
	}
	places[at] = p
}

// knownHint lists what could have been meant.
func knownHint(what string, known []string, got string) string {
	known = slices.Compact(slices.Sorted(slices.Values(known)))
	if near := nearestWord(got, known); near != "" {
		return "did you mean `" + near + "`?"
	}
	if len(known) == 0 {
		return "there are no " + what + " yet"
	}
	return "the " + what + " are " + listSome(known)
}

func listSome(words []string) string {
	if len(words) > 8 {
		return orList(append(slices.Clone(words[:8]), fmt.Sprintf("%d more", len(words)-8)))
	}
	return orList(words)
}

// checkOutputs: each output switches one thing.
func (c *checker) checkOutputs() {
	type use struct {
		at   place
		what string
	}
	used := map[zones.Output]use{}
	claim := func(controller item[string], output item[int], what string) {
		if controller.ok && c.controller(controller.v) == nil {
			controller.at.fail(CodeReference, knownHint("controllers", idsOf(c.room.controllers, func(x *rawController) item[string] { return x.id }), controller.v), "there is no controller `%s`", controller.v)
			return
		}
		if !controller.ok || !output.ok {
			return
		}
		at := zones.Output{Controller: controller.v, Number: output.v}
		if first, taken := used[at]; taken {
			output.at.fail(CodeWiring, "give each its own output", "output %s is used twice: %s and, in line %d, %s", at, what, first.at.line, first.what)
			return
		}
		used[at] = use{output.at, what}
	}
	for _, s := range c.room.supplies {
		if s.master != nil {
			claim(s.master.controller, s.master.output, "the master of supply `"+s.id.v+"`")
		}
	}
	for _, v := range c.room.valves {
		claim(v.controller, v.output, "the valve `"+v.id.v+"`")
	}
	if h := c.room.healthy; h != nil {
		claim(h.controller, h.output, "`healthy`, which is held while all is well")
	}
}

// checkInputs: input ids differ on one controller, and what is wired is used.
func (c *checker) checkInputs() {
	for _, ctl := range c.room.controllers {
		ids := register{}
		for _, in := range ctl.inputs {
			ids.claim("input", in.id)
			if in.means.v == string(zones.SupplyLow) && in.id.ok && !c.lowNamed(in.id.v) {
				in.id.at.warn(CodeUnused, "name it in a supply: `low: "+in.id.v+"`", "no supply names the input `%s`: it forbids nothing", in.id.v)
			}
		}
	}
}

func (c *checker) lowNamed(input string) bool {
	if len(c.room.supplies) == 0 {
		return c.room.onlyLow() == input
	}
	return slices.ContainsFunc(c.room.supplies, func(s rawSupply) bool { return s.low.v == input })
}

// checkLow: a supply's low input is one input that means it.
func (c *checker) checkLow(s *rawSupply) {
	if !s.low.ok {
		return
	}
	var found []rawInput
	var all []string
	for _, ctl := range c.room.controllers {
		for _, in := range ctl.inputs {
			all = append(all, in.id.v)
			if in.id.ok && in.id.v == s.low.v {
				found = append(found, in)
			}
		}
	}
	switch {
	case len(found) == 0:
		s.low.at.fail(CodeReference, knownHint("inputs", all, s.low.v), "there is no input `%s`", s.low.v)
	case len(found) > 1:
		s.low.at.fail(CodeConflict, "give one of the inputs another id", "two controllers have an input `%s`", s.low.v)
	case found[0].means.ok && found[0].means.v != string(zones.SupplyLow):
		s.low.at.fail(CodeConflict, "name an input with `means: supply-low`", "the input `%s` means %s", s.low.v, found[0].means.v)
	}
}
