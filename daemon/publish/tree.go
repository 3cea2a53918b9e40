package publish

import (
	"encoding/json"
	"slices"
	"strings"

	"rillgate/zones"
)

// node is one node of the tree with its values.
type node struct {
	id, name, kind string
	zone           string // id of the zone, of a zone's node
	traits         []trait
	values         []value // one a trait; none for momentary ones
	target         value   // of the trait that has $target
}

// index finds a property by its id; -1 = the node has none of that name.
func (n *node) index(id string) int {
	return slices.IndexFunc(n.traits, func(t trait) bool { return t.id == id })
}

// tree is everything that stands under the device, made from one snapshot.
type tree struct {
	prefix string // "<root>/5/<room>/"
	name   string
	nodes  []node
	alerts map[string]value // by topic
}

// build draws the tree of a snapshot.
func build(c *Config, s *Snapshot) *tree {
	t := &tree{prefix: c.Root + "/5/" + c.Room + "/", name: s.View.Name, alerts: map[string]value{}}
	t.nodes = make([]node, 0, 1+len(s.View.Zones)+len(s.View.Valves)+len(s.View.Probes))
	t.add(fill("gateway", "Gateway", "gateway", gatewayTable,
		&gateway{version: c.Version, planError: s.PlanError, view: &s.View}))
	for i := range s.View.Zones {
		z := &s.View.Zones[i]
		n := fill("zone-"+asID(z.ID), orID(z.Name, z.ID), "zone", zoneTable, z)
		n.zone = z.ID
		t.add(n)
	}
	for i := range s.View.Valves {
		v := &s.View.Valves[i]
		n := fill("valve-"+asID(v.ID), v.ID, "valve", valveTable, v)
		n.target = asFlag(v.Wanted)
		t.add(n)
	}
	for i := range s.View.Probes {
		if p := &s.View.Probes[i]; p.InFiles || p.Zone != "" {
			t.add(fill("probe-"+asID(probeName(p)), orID(p.Label, probeName(p)), "probe", probeTable, p))
		}
	}
	for i := range s.View.Alarms {
		a := &s.View.Alarms[i]
		t.alerts[t.prefix+"$alert/"+alertID(a)] = asSentence(alertText(a))
	}
	return t
}

// add keeps the first of two nodes with one id.
func (t *tree) add(n node) {
	if t.find(n.id) == nil {
		t.nodes = append(t.nodes, n)
	}
}

func (t *tree) find(id string) *node {
	for i := range t.nodes {
		if t.nodes[i].id == id {
			return &t.nodes[i]
		}
	}
	return nil
}

// property finds "<node>/<property>"; nil when the tree has none.
func (t *tree) property(path string) (*node, *trait) {
	id, property, _ := strings.Cut(path, "/")
	n := t.find(id)
	if n == nil {
		return nil, nil
	}
	for i := range n.traits {
		if n.traits[i].id == property {
			return n, &n.traits[i]
		}
	}
	return nil, nil
}

// stands reports whether a retained topic belongs to the tree, with a value or
// without.
func (t *tree) stands(topic string) bool {
	if _, alert := t.alerts[topic]; alert {
		return true
	}
	path, ours := strings.CutPrefix(topic, t.prefix)
	path, target := strings.CutSuffix(path, "/$target")
	_, p := t.property(path)
	return ours && p != nil && !p.momentary && (!target || p.target)
}

// probeName is a probe's id, or its place when it has none.
func probeName(p *zones.ProbeView) string {
	if p.ID != "" {
		return p.ID
	}
	return p.Place.String()
}

func orID(name, id string) string {
	if name == "" {
		return id
	}
	return name
}

// shape is the same for two trees whose descriptions differ in the version only.
func (t *tree) shape() string {
	var b strings.Builder
	b.WriteString(t.name)
	for i := range t.nodes {
		n := &t.nodes[i]
		for _, s := range []string{n.kind, n.id, n.name} {
			b.WriteByte(0)
			b.WriteString(s)
		}
	}
	return b.String()
}

// topics gives each node's topics, one a trait.
func (t *tree) topics() [][]string {
	out := make([][]string, len(t.nodes))
	for i := range t.nodes {
		n := &t.nodes[i]
		for j := range n.traits {
			out[i] = append(out[i], t.prefix+n.id+"/"+n.traits[j].id)
		}
	}
	return out
}

type descriptionJSON struct {
	Homie   string              `json:"homie"`
	Version int64               `json:"version"`
	Name    string              `json:"name"`
	Type    string              `json:"type"`
	Nodes   map[string]nodeJSON `json:"nodes"`
}

type nodeJSON struct {
	Name       string                  `json:"name"`
	Type       string                  `json:"type"`
	Properties map[string]propertyJSON `json:"properties"`
}

type propertyJSON struct {
	Name     string `json:"name"`
	Datatype string `json:"datatype"`
	Format   string `json:"format,omitempty"`
	Settable bool   `json:"settable"`
	Retained bool   `json:"retained"`
	Unit     string `json:"unit,omitempty"`
}

// describe gives the $description.
func (t *tree) describe(version int64) string {
	d := descriptionJSON{Homie: "5.0", Version: version, Name: clean(t.name), Type: "growing-room", Nodes: map[string]nodeJSON{}}
	for _, n := range t.nodes {
		nj := nodeJSON{Name: clean(n.name), Type: n.kind, Properties: map[string]propertyJSON{}}
		for _, p := range n.traits {
			nj.Properties[p.id] = propertyJSON{Name: p.name, Datatype: p.datatype, Format: p.format,
				Settable: p.settable, Retained: !p.momentary, Unit: p.unit}
		}
		d.Nodes[n.id] = nj
	}
	var b strings.Builder
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	_ = enc.Encode(d) // strings, bools and maps of them: cannot fail
	return strings.TrimSuffix(b.String(), "\n")
}
