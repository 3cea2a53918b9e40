package publish

import (
	"encoding/json"
	"strings"

	"rillgate/zones"
)

// node is one node of the tree with its values, by property id.
type node struct {
	id, name, kind string
	traits         []trait
	values         map[string]value
	target         map[string]value // by property id, where it has $target
}

// tree is everything that stands on topics. Topics that should not stand are in it
// with an absent value.
type tree struct {
	prefix   string // "<root>/5/<room>/"
	name     string
	nodes    []node
	topics   map[string]value
	settable map[string]string // "<node>/<property>" -> zone id, "" for the gateway
}

// build draws the tree of a snapshot.
func build(c *Config, s *Snapshot) *tree {
	t := &tree{
		prefix: c.Root + "/5/" + c.Room + "/", name: s.View.Name,
		topics: map[string]value{}, settable: map[string]string{},
	}
	t.addNodes(c, s)
	for i := range t.nodes {
		t.spread(&t.nodes[i])
	}
	for i := range s.View.Alarms {
		a := &s.View.Alarms[i]
		t.topics[t.prefix+"$alert/"+alertID(a)] = asSentence(alertText(a))
	}
	return t
}

func (t *tree) addNodes(c *Config, s *Snapshot) {
	t.add(fill("gateway", "Gateway", "gateway", gatewayProperties(),
		&gateway{version: c.Version, planError: s.PlanError, view: &s.View}))
	for i := range s.View.Zones {
		z := &s.View.Zones[i]
		t.add(fill("zone-"+asID(z.ID), orID(z.Name, z.ID), "zone", zoneProperties(), z))
		for _, p := range []string{"hold", "shot"} {
			t.settable["zone-"+asID(z.ID)+"/"+p] = z.ID
		}
	}
	t.settable["gateway/stop"] = ""
	for i := range s.View.Valves {
		v := &s.View.Valves[i]
		n := fill("valve-"+asID(v.ID), v.ID, "valve", valveProperties(), v)
		n.target = map[string]value{"open": asFlag(v.Wanted)}
		t.add(n)
	}
	for i := range s.View.Probes {
		if p := &s.View.Probes[i]; p.InFiles || p.Zone != "" {
			t.add(fill("probe-"+asID(probeName(p)), orID(p.Label, probeName(p)), "probe", probeProperties(), p))
		}
	}
}

// add keeps the first of two nodes with one id.
func (t *tree) add(n node) {
	for i := range t.nodes {
		if t.nodes[i].id == n.id {
			return
		}
	}
	t.nodes = append(t.nodes, n)
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

// fill makes a node of a table of properties and the thing they describe.
func fill[T any](id, name, kind string, ps []property[T], of *T) node {
	n := node{id: id, name: name, kind: kind, values: map[string]value{}}
	for _, p := range ps {
		n.traits = append(n.traits, p.trait)
		if p.of != nil {
			n.values[p.id] = p.of(of)
		}
	}
	return n
}

// spread puts a node's values on their topics.
func (t *tree) spread(n *node) {
	for _, p := range n.traits {
		if p.momentary {
			continue
		}
		topic := t.prefix + n.id + "/" + p.id
		t.topics[topic] = n.values[p.id]
		if p.target {
			t.topics[topic+"/$target"] = n.target[p.id]
		}
	}
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

// describe gives the $description; with version 0 it serves to compare two trees.
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
