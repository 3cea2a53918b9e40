// Package homiecheck checks a device's messages against the Homie convention,
// version 5.0 (https://homieiot.github.io/specification/spec-core-v5_0_0/): ids,
// the device's life, its description, and every payload against what the
// description says of it. It knows nothing of the program it checks.
//
// Read for it: the convention's text of 2024-10-17 (repository homieiot/convention,
// commit 063301d); a level that begins or ends with a hyphen is let through, as only
// drafts forbade it.
package homiecheck

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"
)

// Message is one publish, in the order in which the broker got it.
type Message struct {
	Topic    string
	Payload  string
	Retained bool
}

// Check goes through all messages of the device `<root>/5/<device>` and gives every
// rule that was broken, one sentence each, in order; nil when none was. Topics
// outside of the device are passed over. From a fresh subscriber, which sees only what
// stands, give Retained = true for all.
func Check(root, device string, ms []Message) []string {
	c := &checker{prefix: root + "/5/" + device + "/", standing: map[string]string{}}
	c.id("root", root)
	c.id("device", device)
	for _, m := range ms {
		if rest, ours := strings.CutPrefix(m.Topic, c.prefix); ours {
			c.message(rest, m)
		}
	}
	c.end()
	return c.broken
}

type checker struct {
	prefix   string
	state    string
	desc     *description
	raw      string
	standing map[string]string // retained values, by "<node>/<property>"
	broken   []string
}

func (c *checker) fault(format string, args ...any) {
	c.broken = append(c.broken, fmt.Sprintf(format, args...))
}

func (c *checker) id(what, s string) {
	if s == "" || strings.Trim(s, "abcdefghijklmnopqrstuvwxyz0123456789-") != "" {
		c.fault("%s id %q: only a-z, 0-9 and hyphen", what, s)
	}
}

func (c *checker) message(rest string, m Message) {
	levels := strings.Split(rest, "/")
	switch {
	case rest == "$state":
		c.onState(m)
	case rest == "$description":
		c.onDescription(m)
	case levels[0] == "$alert" && len(levels) == 2:
		c.id("alert", levels[1])
		c.retained(m)
	case levels[0] == "$log" && len(levels) == 2:
		c.onLog(levels[1], m)
	case strings.HasPrefix(rest, "$"):
		c.fault("%s: no such attribute of a device", rest)
	case len(levels) == 2:
		c.onValue(levels[0], levels[1], "", m)
	case len(levels) == 3 && levels[2] == "$target":
		c.onValue(levels[0], levels[1], "/$target", m)
	case len(levels) == 3 && levels[2] == "set":
		c.onSet(levels[0], levels[1], m)
	default:
		c.fault("%s: no such topic in a device", rest)
	}
}

func (c *checker) retained(m Message) {
	if !m.Retained {
		c.fault("%s: published without the retained flag", m.Topic)
	}
}

func (c *checker) onLog(level string, m Message) {
	if !slices.Contains([]string{"debug", "info", "warn", "error", "fatal"}, level) {
		c.fault("%s: no such log level", m.Topic)
	}
	if m.Retained {
		c.fault("%s: a log message is never retained", m.Topic)
	}
}

func (c *checker) onState(m Message) {
	c.retained(m)
	if !slices.Contains([]string{"init", "ready", "disconnected", "sleeping", "lost", ""}, m.Payload) {
		c.fault("$state %q: none of init, ready, disconnected, sleeping, lost", m.Payload)
	}
	if m.Payload == "ready" && c.desc == nil {
		c.fault("$state ready before any $description")
	}
	c.state = m.Payload
}

func (c *checker) onDescription(m Message) {
	c.retained(m)
	if m.Payload == c.raw && c.desc != nil {
		return
	}
	d, problems := readDescription(m.Payload)
	c.broken = append(c.broken, problems...)
	if d == nil {
		return
	}
	if c.state == "ready" || c.state == "sleeping" {
		c.fault("$description changed while $state is %s", c.state)
	}
	if c.desc != nil && d.version <= c.desc.version {
		c.fault("$description changed but its version went from %d to %d", c.desc.version, d.version)
	}
	c.desc, c.raw = d, m.Payload
}

func (c *checker) onValue(node, id, attribute string, m Message) {
	c.id("node", node)
	c.id("property", id)
	where := node + "/" + id + attribute
	if m.Payload == "" {
		delete(c.standing, where)
		c.retained(m)
		return
	}
	p := c.desc.find(node, id)
	if p == nil {
		c.fault("%s: not in the $description", where)
		return
	}
	if attribute == "" && m.Retained != p.retained {
		c.fault("%s: retained flag is %v, the $description says %v", where, m.Retained, p.retained)
	}
	if attribute != "" {
		c.retained(m)
	}
	if why := p.accepts(m.Payload); why != "" {
		c.fault("%s: payload %q: %s", where, m.Payload, why)
	}
	if m.Retained {
		c.standing[where] = m.Payload
	}
}

func (c *checker) onSet(node, id string, m Message) {
	if m.Retained {
		c.fault("%s/%s/set: a set message is never retained", node, id)
	}
	if p := c.desc.find(node, id); p != nil && !p.settable {
		c.fault("%s/%s/set: the property is not settable", node, id)
	}
}

// end looks at what stands at the last.
func (c *checker) end() {
	if c.state == "" {
		c.fault("no $state")
	}
	if c.desc == nil {
		c.fault("no $description")
		return
	}
	for _, where := range slices.Sorted(maps.Keys(c.standing)) {
		levels := strings.Split(where, "/")
		if c.desc.find(levels[0], levels[1]) == nil {
			c.fault("%s: still stands and is no more in the $description", where)
		}
	}
}

// strict decodes one JSON value and refuses a type that differs.
func strict(raw json.RawMessage, into any) bool {
	return raw != nil && string(raw) != "null" && json.Unmarshal(raw, into) == nil
}
