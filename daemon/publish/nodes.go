package publish

import (
	"math"
	"time"

	"rillgate/zones"
)

// trait is what $description says of a property.
type trait struct {
	id, name, datatype, format, unit string
	settable                         bool
	momentary                        bool // not retained: an event, without a standing value
	target                           bool // has $target
}

// property couples what is said of a property with how its value is found, so that
// the tree and its description cannot differ.
type property[T any] struct {
	trait
	of func(*T) value // nil for momentary ones
}

// table is the whole of one kind of node.
type table[T any] struct {
	traits []trait
	of     []func(*T) value
}

func tabulate[T any](ps []property[T]) *table[T] {
	t := &table[T]{}
	for _, p := range ps {
		t.traits, t.of = append(t.traits, p.trait), append(t.of, p.of)
	}
	return t
}

// fill makes a node of a table and the thing that it describes.
func fill[T any](id, name, kind string, t *table[T], of *T) node {
	n := node{id: id, name: name, kind: kind, traits: t.traits, values: make([]value, len(t.traits))}
	for i, value := range t.of {
		if value != nil {
			n.values[i] = value(of)
		}
	}
	return n
}

var (
	gatewayTable = tabulate(gatewayProperties())
	zoneTable    = tabulate(zoneProperties())
	valveTable   = tabulate(valveProperties())
	probeTable   = tabulate(probeProperties())
)

const (
	zoneQualities  = "good,partial,none"
	zoneStates     = "idle,watching,waiting,watering,resting,held,stopped,latched,fallow"
	litresSources  = "metered,reckoned"
	valveStates    = "closed,open,maybe-open,unknown,latched"
	probeQualities = "good,stale,implausible,outlier,lost,new,ignored"
	clockStates    = "trusted,unsure"
	healthyStates  = "held,waiting,dropped,maybe-held,stuck,unknown,none"
)

// zoneProperties is the whole of a zone's node.
func zoneProperties() []property[zones.ZoneView] {
	type z = zones.ZoneView
	return []property[z]{
		{trait{id: "moisture", name: "Moisture", datatype: "float", unit: "%"}, func(z *z) value { return asFloat(z.Moisture, 1) }},
		{trait{id: "pore-ec", name: "Pore water EC", datatype: "float", unit: "mS/cm"}, func(z *z) value { return asFloat(z.PoreEC, 1) }},
		{trait{id: "temperature", name: "Substrate temperature", datatype: "float", unit: "°C"}, func(z *z) value { return asFloat(z.Temperature, 1) }},
		{trait{id: "quality", name: "Quality of the moisture", datatype: "enum", format: zoneQualities}, func(z *z) value { return asEnum(string(z.Quality), zoneQualities) }},
		{trait{id: "age", name: "Age of the newest counting reading", datatype: "integer", unit: "s"}, func(z *z) value { return asAge(z.AgeSeconds) }},
		{trait{id: "probes", name: "Probes that count", datatype: "integer", unit: "#"}, func(z *z) value { return asInteger(int64(z.Counting)) }},
		{trait{id: "state", name: "State", datatype: "enum", format: zoneStates}, func(z *z) value { return asEnum(string(z.State), zoneStates) }},
		{trait{id: "reason", name: "Reason", datatype: "string"}, func(z *z) value { return asWord(string(z.Reason)) }},
		{trait{id: "because", name: "Because", datatype: "string"}, func(z *z) value { return asSentence(z.Because, string(z.State), string(z.Reason)) }},
		{trait{id: "window", name: "Window open now", datatype: "string"}, func(z *z) value { return asWord(z.Window) }},
		{trait{id: "litres-total", name: "Litres since ever", datatype: "float", unit: "L"}, func(z *z) value { return asTotal(asFloat(&z.LitresTotal, 2)) }},
		{trait{id: "shots-total", name: "Shots since ever", datatype: "integer", unit: "#"}, func(z *z) value { return asTotal(asInteger(z.ShotsTotal)) }},
		{trait{id: "run-seconds-total", name: "Valve time since ever", datatype: "float", unit: "s"}, func(z *z) value { return asTotal(asFloat(&z.RunSeconds, 1)) }},
		{trait{id: "litres-24h", name: "Litres of the last 24 h", datatype: "float", unit: "L"}, func(z *z) value { return asFloat(&z.Litres24, 2) }},
		{trait{id: "litres-source", name: "Where the litres come from", datatype: "enum", format: litresSources}, func(z *z) value { return asEnum(litresSource(z), litresSources) }},
		{trait{id: "dry-level", name: "Moisture at which it counts as dry", datatype: "float", unit: "%"}, func(z *z) value { return asFloat(z.DryLevel, 1) }},
		{trait{id: "dry-at", name: "Dry without water", datatype: "datetime"}, func(z *z) value { return asTime(rounded(z.DryAt)) }},
		{trait{id: "dry-half-width", name: "Dry without water, either way", datatype: "integer", unit: "s"}, dryHalf},
		{trait{id: "hold", name: "Hold", datatype: "boolean", format: "released,held", settable: true}, func(z *z) value { return asFlag(z.HoldUntil != nil) }},
		{trait{id: "hold-until", name: "Hold ends", datatype: "datetime"}, func(z *z) value { return asTime(z.HoldUntil) }},
		{trait{id: "shot", name: "Give one shot", datatype: "duration", settable: true, momentary: true}, nil},
	}
}

// rounded gives a time to five minutes: it is an estimate, and shall not be news at
// every look.
func rounded(t *time.Time) *time.Time {
	if t == nil {
		return nil
	}
	r := t.Round(5 * time.Minute)
	return &r
}

func dryHalf(z *zones.ZoneView) value {
	if z.DryAt == nil {
		return gone
	}
	return asInteger(int64(math.Ceil(z.DryHalf/300)) * 300)
}

func litresSource(z *zones.ZoneView) string {
	if z.Metered {
		return "metered"
	}
	return "reckoned"
}

// valveProperties is the whole of a valve's node. `open` stands only while the
// state is known for sure; $target is what we command.
func valveProperties() []property[zones.ValveView] {
	type v = zones.ValveView
	return []property[v]{
		{trait{id: "state", name: "State", datatype: "enum", format: valveStates}, func(v *v) value { return asEnum(string(v.State), valveStates) }},
		{trait{id: "open", name: "Open", datatype: "boolean", format: "closed,open", target: true}, valveOpen},
		{trait{id: "flow", name: "Flow by its meter", datatype: "float", unit: "L/min"}, func(v *v) value { return asFloat(v.FlowLPM, 1) }},
	}
}

func valveOpen(v *zones.ValveView) value {
	switch v.State {
	case zones.ValveOpen:
		return asFlag(true)
	case zones.ValveClosed:
		return asFlag(false)
	}
	return gone
}

// probeProperties is the whole of a probe's node.
func probeProperties() []property[zones.ProbeView] {
	type p = zones.ProbeView
	return []property[p]{
		{trait{id: "moisture", name: "Moisture", datatype: "float", unit: "%"}, func(p *p) value { return asFloat(standing(p, p.Moisture), 1) }},
		{trait{id: "ec", name: "Bulk EC", datatype: "float", unit: "mS/cm"}, func(p *p) value { return asFloat(standing(p, p.EC), 2) }},
		{trait{id: "pore-ec", name: "Pore water EC", datatype: "float", unit: "mS/cm"}, func(p *p) value { return asFloat(standing(p, p.PoreEC), 1) }},
		{trait{id: "temperature", name: "Temperature", datatype: "float", unit: "°C"}, func(p *p) value { return asFloat(standing(p, p.Temperature), 1) }},
		{trait{id: "quality", name: "Quality", datatype: "enum", format: probeQualities}, func(p *p) value { return asEnum(string(p.Quality), probeQualities) }},
		{trait{id: "zone", name: "Zone", datatype: "string"}, func(p *p) value { return asWord(p.Zone) }},
		{trait{id: "age", name: "Age of the newest reading", datatype: "integer", unit: "s"}, func(p *p) value { return asAge(p.AgeSeconds) }},
	}
}

// standing withholds the numbers of a probe that went silent: a number that is old
// is never published as if it were one.
func standing(p *zones.ProbeView, x *float64) *float64 {
	if p.Quality == zones.ProbeStale || p.Quality == zones.ProbeLost {
		return nil
	}
	return x
}

// gateway is what the gateway's own node is made from.
type gateway struct {
	version   string
	planError string
	view      *zones.View
}

func gatewayProperties() []property[gateway] {
	type g = gateway
	return []property[g]{
		{trait{id: "version", name: "Version of the program", datatype: "string"}, func(g *g) value { return asWord(g.version) }},
		{trait{id: "clock", name: "Clock", datatype: "enum", format: clockStates}, func(g *g) value { return asEnum(clockState(g.view), clockStates) }},
		{trait{id: "stop", name: "Stop (true only: a reset lifts it)", datatype: "boolean", format: "running,stopped", settable: true}, func(g *g) value { return asFlag(g.view.Stopped) }},
		{trait{id: "healthy", name: "Output held while all is well", datatype: "enum", format: healthyStates}, func(g *g) value { return asEnum(healthyState(g.view), healthyStates) }},
		{trait{id: "healthy-because", name: "Why it is not held", datatype: "string"}, func(g *g) value { return asSentence(healthyBecause(g.view), healthyState(g.view)) }},
		{trait{id: "plan", name: "Hash of the plan in force", datatype: "string"}, func(g *g) value { return asWord(g.view.Plan) }},
		{trait{id: "plan-error", name: "Why the files on disk were refused", datatype: "string"}, func(g *g) value { return asWord(g.planError) }},
		{trait{id: "answer", name: "Answer to an order", datatype: "json", momentary: true}, nil},
	}
}

func clockState(v *zones.View) string {
	if v.Trusted {
		return "trusted"
	}
	return "unsure"
}

// healthyState is that of the healthy output; none where the plan names none.
func healthyState(v *zones.View) string {
	if v.Healthy == nil {
		return "none"
	}
	return string(v.Healthy.State)
}

func healthyBecause(v *zones.View) string {
	if v.Healthy == nil || v.Healthy.Because == "" {
		return "none"
	}
	return v.Healthy.Because
}
