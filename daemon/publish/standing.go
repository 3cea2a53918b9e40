package publish

import (
	"encoding/json"
	"strings"
)

const (
	standingMax = 4096    // topics of an earlier tree that are removed at most
	versionMax  = 1 << 52 // versions above are not believed: JSON readers lose count at 2^53
)

// subscribe asks for orders, and for what an earlier process left standing: its
// description and its alerts. These are read only to remove what is no more ours.
func (p *Publisher) subscribe() {
	if p.subscribed {
		return
	}
	p.subscribed = true
	p.wire.Subscribe(p.tree.prefix+"$description", qosState, p.onDescription)
	p.wire.Subscribe(p.tree.prefix+"$alert/+", qosState, p.onAlert)
	p.wire.Subscribe(p.tree.prefix+"$state", qosState, p.onState)
	p.wire.Subscribe(p.tree.prefix+"+/+/set", qosState, p.onSet)
}

// onDescription marks the topics of an earlier tree as possibly standing; those that
// the tree of now does not have are removed with the next Update. A version as high
// as ours makes ours rise above it.
func (p *Publisher) onDescription(_ string, payload []byte, retained bool) {
	if !retained {
		return
	}
	var d descriptionJSON
	if json.Unmarshal(payload, &d) != nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if d.Version >= p.version && d.Version < versionMax && string(payload) != p.described {
		p.version = d.Version
		p.describe()
		if p.phase == ready {
			p.phase = birth
		}
	}
	p.sweep = true
	for node, n := range d.Nodes {
		for id, prop := range n.Properties {
			if len(p.touched) > standingMax || !prop.Retained || !validID(node) || !validID(id) {
				continue
			}
			topic := p.tree.prefix + node + "/" + id
			p.touched[topic] = true
			if prop.Datatype == "boolean" && strings.HasPrefix(node, "valve-") {
				p.touched[topic+"/$target"] = true
			}
		}
	}
}

// onAlert marks an alert of an earlier process.
func (p *Publisher) onAlert(topic string, _ []byte, retained bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	id, ok := strings.CutPrefix(topic, p.tree.prefix+"$alert/")
	if retained && ok && validID(id) && len(p.touched) <= standingMax {
		p.touched[topic], p.sweep = true, true
	}
}

// onState hears its own $state. A `lost` that arrives while we live is the will of
// an earlier connection, delivered late: the state is told again with the next
// Update. Only `lost` is answered, so that two of us never argue. One that is retained
// comes with a new subscription, and so with a new connection: everything is told
// again.
func (p *Publisher) onState(topic string, payload []byte, retained bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.heard = true
	if p.phase != ready || string(payload) != "lost" {
		return
	}
	p.counts["late-will"]++
	if retained {
		p.drop()
		return
	}
	p.phase = birth
	p.told[topic] = told{}
}
