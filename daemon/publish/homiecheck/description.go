package homiecheck

import (
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"
)

type description struct {
	version int64
	nodes   map[string]map[string]*property
}

type property struct {
	datatype, format   string
	settable, retained bool
}

func (d *description) find(node, id string) *property {
	if d == nil {
		return nil
	}
	return d.nodes[node][id]
}

var versionForm = regexp.MustCompile(`^5\.[0-9]+$`)

var datatypes = []string{"integer", "float", "boolean", "string", "enum", "color", "datetime", "duration", "json"}

// reader collects what is wrong with one description.
type reader struct{ broken []string }

func (r *reader) fault(format string, args ...any) {
	r.broken = append(r.broken, fmt.Sprintf(format, args...))
}

func readDescription(payload string) (*description, []string) {
	r := &reader{}
	var top map[string]json.RawMessage
	if err := json.Unmarshal([]byte(payload), &top); err != nil {
		return nil, []string{"$description is no JSON object: " + err.Error()}
	}
	d := &description{nodes: map[string]map[string]*property{}}
	var homie string
	if !strict(top["homie"], &homie) || !versionForm.MatchString(homie) {
		r.fault(`$description homie is %s: "5.x" is due`, top["homie"])
	}
	if !strict(top["version"], &d.version) {
		r.fault("$description version is %s: an integer is due", top["version"])
	}
	r.texts("$description", top, "name", "type", "parent", "root")
	r.ids(top, "children")
	var nodes map[string]json.RawMessage
	if top["nodes"] != nil && !strict(top["nodes"], &nodes) {
		r.fault("$description nodes: an object is due")
	}
	for id, raw := range nodes {
		d.nodes[id] = r.node(id, raw)
	}
	slices.Sort(r.broken)
	return d, r.broken
}

func (r *reader) texts(where string, m map[string]json.RawMessage, keys ...string) {
	for _, k := range keys {
		var s string
		if m[k] != nil && !strict(m[k], &s) {
			r.fault("%s %s: a string is due", where, k)
		}
	}
}

func (r *reader) ids(m map[string]json.RawMessage, key string) {
	var list []string
	if m[key] != nil && !strict(m[key], &list) {
		r.fault("$description %s: a list of ids is due", key)
	}
	for _, id := range list {
		r.id(key, id)
	}
}

func (r *reader) id(what, s string) {
	if s == "" || strings.Trim(s, "abcdefghijklmnopqrstuvwxyz0123456789-") != "" {
		r.fault("$description %s id %q: only a-z, 0-9 and hyphen", what, s)
	}
}

func (r *reader) node(id string, raw json.RawMessage) map[string]*property {
	r.id("node", id)
	var n map[string]json.RawMessage
	if !strict(raw, &n) {
		r.fault("node %s: an object is due", id)
		return nil
	}
	r.texts("node "+id, n, "name", "type")
	var props map[string]json.RawMessage
	if n["properties"] != nil && !strict(n["properties"], &props) {
		r.fault("node %s properties: an object is due", id)
	}
	out := map[string]*property{}
	for pid, raw := range props {
		if p := r.property(id+"/"+pid, pid, raw); p != nil {
			out[pid] = p
		}
	}
	return out
}

func (r *reader) property(where, id string, raw json.RawMessage) *property {
	r.id("property", id)
	var m map[string]json.RawMessage
	if !strict(raw, &m) {
		r.fault("property %s: an object is due", where)
		return nil
	}
	p := &property{retained: true}
	if !strict(m["datatype"], &p.datatype) || !slices.Contains(datatypes, p.datatype) {
		r.fault("property %s datatype is %s: none of the convention's", where, m["datatype"])
		return nil
	}
	r.texts("property "+where, m, "name", "unit")
	for key, into := range map[string]*bool{"settable": &p.settable, "retained": &p.retained} {
		if m[key] != nil && !strict(m[key], into) {
			r.fault("property %s %s: true or false is due", where, key)
		}
	}
	if m["format"] != nil && !strict(m["format"], &p.format) {
		r.fault("property %s format: a string is due", where)
	}
	if why := p.formatFault(); why != "" {
		r.fault("property %s format %q: %s", where, p.format, why)
	}
	return p
}
