package configs

import (
	"fmt"
	"strings"

	"go.yaml.in/yaml/v4"

	"rillgate/schedule"
)

// readKeys reads what zones and defaults share.
func readKeys(t *table) rawKeys {
	substrate, emitters := t.table("substrate"), t.table("emitters")
	moisture, limits := t.table("moisture"), t.table("limits")
	soak := limits.table("soak")
	return rawKeys{
		substrate: substrate.label("kind"), volume: substrate.number("volume_per_plant"), height: substrate.number("height"),
		curve: substrate.word("curve"), porosity: as(substrate.number("porosity"), share), density: substrate.number("density"),
		samples: readSamples(substrate), poreOffset: substrate.decimal("pore_offset"), ec: moisture.word("ec"),
		perPlant: emitters.decimal("per_plant"), flow: emitters.number("flow"),
		combine: moisture.word("combine"), quorum: moisture.integer("quorum"), stale: moisture.duration("stale_after"),
		plausible: read(moisture, "plausible", parseSpan),
		maxRun:    limits.duration("max_run"), minRest: limits.duration("min_rest"), maxPerDay: limits.duration("max_per_day"),
		maxMoisture: limits.level("max_moisture"), lost: readLost(t), walk: t.boolean("require_walk"),
		soakRun: soak.duration("max_run"), soakPerDay: soak.duration("max_per_day"), soakMoisture: soak.level("max_moisture"),
	}
}

// over gives the zone's own keys over the defaults, one by one.
func (k rawKeys) over(d *rawKeys) rawKeys {
	return rawKeys{
		substrate: pick(k.substrate, d.substrate), volume: pick(k.volume, d.volume), height: pick(k.height, d.height),
		curve: k.pickCurve(d), porosity: pick(k.porosity, d.porosity), density: pick(k.density, d.density),
		samples: k.pickSamples(d), poreOffset: pick(k.poreOffset, d.poreOffset), ec: pick(k.ec, d.ec),
		perPlant: pick(k.perPlant, d.perPlant), flow: pick(k.flow, d.flow),
		combine: pick(k.combine, d.combine), quorum: pick(k.quorum, d.quorum), stale: pick(k.stale, d.stale),
		plausible: pick(k.plausible, d.plausible),
		maxRun:    pick(k.maxRun, d.maxRun), minRest: pick(k.minRest, d.minRest), maxPerDay: pick(k.maxPerDay, d.maxPerDay),
		maxMoisture: pick(k.maxMoisture, d.maxMoisture), lost: pick(k.lost, d.lost), walk: pick(k.walk, d.walk),
		soakRun: pick(k.soakRun, d.soakRun), soakPerDay: pick(k.soakPerDay, d.soakPerDay), soakMoisture: pick(k.soakMoisture, d.soakMoisture),
	}
}

func pick[T any](own, def item[T]) item[T] {
	if own.given {
		return own
	}
	return def
}

// parseSpan reads `2 % to 95 %`.
func parseSpan(n *yaml.Node, _ kind) (span, *fault) {
	lo, hi, found := strings.Cut(n.Value, " to ")
	if !found {
		return span{}, &fault{CodeText, fmt.Sprintf("`%s` is no range", shorten(n.Value)), "write two moistures: `2 % to 95 %`"}
	}
	q := amount(percentage, "0 %", "100 %", "2 % to 95 %")
	a, f := q.read(lo)
	if f != nil {
		return span{}, f
	}
	b, f := q.read(hi)
	if f != nil {
		return span{}, f
	}
	if a.value.Cmp(b.value) >= 0 {
		return span{}, &fault{CodeConflict, fmt.Sprintf("the range `%s` is empty", shorten(n.Value)), fmt.Sprintf("the lower moisture comes first: `%s to %s`", strings.TrimSpace(hi), strings.TrimSpace(lo))}
	}
	return span{a.level(), b.level()}, nil
}

// readLost reads on_lost_probes: the word close, or {timed: {...}}.
func readLost(t *table) item[*rawLost] {
	n := t.node("on_lost_probes")
	out := item[*rawLost]{at: t.keyAt["on_lost_probes"], given: t.has("on_lost_probes")}
	if n == nil {
		return out
	}
	if n.Kind == yaml.ScalarNode {
		w := readNode(t.src, n, word{"close"}, parseLostWord)
		return as(w, func(string) *rawLost { return nil })
	}
	outer := t.src.readTable(n, lostShape)
	inner := outer.table("timed")
	if !inner.sound {
		return out
	}
	out.v = &rawLost{at: inner.at, shot: inner.shot("shot"), every: inner.duration("every"), maxPerDay: inner.duration("max_per_day")}
	out.ok = out.v.shot.ok && out.v.every.ok && out.v.maxPerDay.ok
	out.text = "timed"
	return out
}

func parseLostWord(n *yaml.Node, _ kind) (string, *fault) {
	if n.Value == "close" {
		return n.Value, nil
	}
	return "", &fault{CodeText, fmt.Sprintf("`%s` is no way to act on lost probes", shorten(n.Value)), "write `close` or `" + lostShape.example + "`"}
}

// shot reads a shot: seconds, mL a plant, or % of the substrate.
func (t *table) shot(key string) item[schedule.Shot] { return as(t.quantity(key), shotOf) }

func shotOf(m measured) schedule.Shot {
	switch m.dim {
	case volume:
		return schedule.Shot{Kind: schedule.ByMillilitres, Value: m.float()}
	case percentage:
		return schedule.Shot{Kind: schedule.ByPercent, Value: m.float()}
	}
	return schedule.Shot{Kind: schedule.BySeconds, Value: m.float()}
}
