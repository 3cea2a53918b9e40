package configs

import (
	"fmt"
	"strings"

	"go.yaml.in/yaml/v4"
)

// item is one value as read: given says that its key is there, ok that the value
// is good. A check reads only what is ok, so that one fault is told once.
type item[T any] struct {
	v     T
	text  string // as written
	at    place
	given bool
	ok    bool
}

// or gives the value, or another where the key is absent or bad.
func (i item[T]) or(other T) T {
	if i.ok {
		return i.v
	}
	return other
}

// table is one mapping of the file, its keys checked against a shape.
type table struct {
	src   *source
	shape *shape
	at    place
	given bool
	sound bool // it is a mapping at all
	nodes map[string]*yaml.Node
	keyAt map[string]place
}

// readTable checks a mapping's keys: unknown, twice, without a value, missing. A nil
// node gives an empty table that was not given.
func (s *source) readTable(n *yaml.Node, sh *shape) *table {
	t := &table{src: s, shape: sh, nodes: map[string]*yaml.Node{}, keyAt: map[string]place{}}
	if n == nil {
		return t
	}
	t.at, t.given = s.at(n), true
	if n.Kind == yaml.AliasNode {
		return t
	}
	if n.Kind != yaml.MappingNode {
		t.at.fail(CodeKind, sh.hint(), "%s stands where %s is due", kindOf(n), sh.due())
		return t
	}
	t.sound = true
	s.eachPair(n, func(key string, at place, value *yaml.Node) { t.take(key, at, value) }, t.stray)
	for _, f := range sh.fields {
		if f.need && !t.keyAt[f.key].ok() {
			t.at.fail(CodeMissing, missingHint(f), "`%s` is missing: %s", f.key, f.doc)
		}
	}
	return t
}

func (p place) ok() bool { return p.src != nil }

func missingHint(f field) string {
	switch k := f.kind.(type) {
	case quantity:
		return "for example `" + f.key + ": " + k.example + "`"
	case pattern:
		return "for example `" + f.key + ": " + k.example + "`"
	case *shape:
		return "for example `" + f.key + ": " + strings.TrimPrefix(k.example, f.key+": ") + "`"
	}
	return "write `" + f.key + ":` with " + f.kind.due()
}

// eachPair visits the pairs of a mapping, once for each key; a pair without a value
// goes to empty, when that takes it.
func (s *source) eachPair(n *yaml.Node, visit func(key string, at place, value *yaml.Node), empty func(key string, at place) bool) {
	first := map[string]place{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		k, v := n.Content[i], n.Content[i+1]
		at := s.at(k)
		switch {
		case k.Kind != yaml.ScalarNode || k.Tag == "!!null":
			at.fail(CodeKind, "write `key: value`", "%s stands where a key is due", kindOf(k))
		case k.Tag == "!!merge": // told by plainTree
		case first[k.Value].ok():
			at.fail(CodeDuplicate, "remove one of the two", "`%s` stands twice: first in line %d", shorten(k.Value), first[k.Value].line)
		default:
			first[k.Value] = at
			if isNull(v) && empty(k.Value, at) {
				continue
			}
			visit(k.Value, at, v)
		}
	}
}

func isNull(n *yaml.Node) bool { return n.Kind == yaml.ScalarNode && n.Tag == "!!null" }

// stray tells of a key without a value; unknown keys too, since `b 1` is a key to
// YAML and a slip to people.
func (t *table) stray(key string, at place) bool {
	t.keyAt[key] = at
	f := t.shape.field(key)
	if f != nil {
		at.fail(CodeNoValue, noValueHint(*f), "`%s` has no value", key)
		return true
	}
	for _, known := range t.shape.fields {
		rest, found := strings.CutPrefix(key, known.key)
		if found && rest != "" && strings.ContainsAny(rest[:1], " :=") {
			t.keyAt[known.key] = at
			at.fail(CodeUnknown, fmt.Sprintf("between key and value stand a colon and a space: `%s: %s`", known.key, strings.Trim(rest, " :=")),
				"`%s` is no key", shorten(key))
			return true
		}
	}
	at.fail(CodeUnknown, t.unknownHint(key), "`%s` is no key of this mapping, and has no value", shorten(key))
	return true
}

func noValueHint(f field) string { return missingHint(f) + ", or leave the key away" }

func (t *table) take(key string, at place, value *yaml.Node) {
	f := t.shape.field(key)
	if f == nil {
		at.fail(CodeUnknown, t.unknownHint(key), "`%s` is no key of this mapping", shorten(key))
		return
	}
	t.keyAt[key] = at
	switch k := f.kind.(type) {
	case notBuilt:
		at.fail(CodeNotBuilt, "remove it until then", "`%s` is not built yet: %s", key, k.what)
	case refused:
		at.fail(CodeUnknown, k.hint, "%s", k.message)
	default:
		t.nodes[key] = value
	}
}

// unknownHint names the nearest key, or all of them.
func (t *table) unknownHint(key string) string {
	if near := nearestWord(key, t.shape.keys()); near != "" {
		return "did you mean `" + near + "`?"
	}
	return "its keys are " + strings.Join(t.shape.keys(), ", ")
}

// node gives a key's value, nil when absent or without a value.
func (t *table) node(key string) *yaml.Node { return t.nodes[key] }

// whereIs gives the place of a key, else of the whole mapping.
func (t *table) whereIs(key string) place {
	if at := t.keyAt[key]; at.ok() {
		return at
	}
	return t.at
}

// has reports whether the key is there, be its value good or not.
func (t *table) has(key string) bool { return t.keyAt[key].ok() }

// table reads a key's mapping.
func (t *table) table(key string) *table {
	sh, _ := t.shape.field(key).kind.(*shape)
	return t.src.readTable(t.node(key), sh)
}

// list gives the elements of a key's list; ok is false when it is none.
func (t *table) list(key string) (elements []*yaml.Node, ok bool) {
	n := t.node(key)
	if n == nil || n.Kind == yaml.AliasNode {
		return nil, false
	}
	k, _ := t.shape.field(key).kind.(listOf)
	return t.src.readList(n, key, k)
}

// maxElements bounds lists, and mappings by name: a room has some dozens of anything.
const maxElements = 500

// readList gives the elements of a list, without the empty ones.
func (s *source) readList(n *yaml.Node, key string, k listOf) (elements []*yaml.Node, ok bool) {
	if n.Kind != yaml.SequenceNode {
		hint := listHint(k)
		if n.Kind == yaml.ScalarNode && hint == bracketHint {
			hint = "write it in brackets: [" + shorten(n.Value) + "]"
		}
		s.at(n).fail(CodeKind, hint, "%s stands where a list is due", kindOf(n))
		return nil, false
	}
	if len(n.Content) < k.min {
		s.at(n).fail(CodeMissing, listHint(k), "the list `%s` is empty", key)
		return nil, false
	}
	if len(n.Content) > maxElements {
		s.at(n.Content[maxElements]).fail(CodeRange, "split the room", "the list `%s` has more than %d elements", key, maxElements)
		return nil, false
	}
	for _, e := range n.Content {
		if isNull(e) {
			s.at(e).fail(CodeNoValue, "remove the empty element", "an element of `%s` is empty", key)
			continue
		}
		if e.Kind != yaml.AliasNode {
			elements = append(elements, e)
		}
	}
	return elements, true
}

func listHint(k listOf) string {
	if sh, ok := k.of.(*shape); ok && sh.example != "" {
		return "an element looks like `- " + sh.example + "`"
	}
	return bracketHint
}

const bracketHint = "name one at least, in brackets: [one, two]"
