package configs

import (
	"fmt"
	"math/big"
	"regexp"
	"strconv"
	"strings"
	"time"

	"go.yaml.in/yaml/v4"

	"rillgate/zones"
)

// read takes one value of a table through a parser, keeping place and text.
func read[T any](t *table, key string, parse func(n *yaml.Node, k kind) (T, *fault)) item[T] {
	out := item[T]{at: t.keyAt[key], given: t.has(key)}
	if t.given && !t.sound { // told already: nothing in it is missing too
		out.at, out.given = t.at, true
	}
	n := t.node(key)
	if n == nil || n.Kind == yaml.AliasNode {
		return out
	}
	return readNode(t.src, n, t.shape.field(key).kind, parse)
}

// readNode takes one scalar through a parser.
func readNode[T any](s *source, n *yaml.Node, k kind, parse func(n *yaml.Node, k kind) (T, *fault)) item[T] {
	out := item[T]{at: s.at(n), text: n.Value, given: true}
	if n.Kind != yaml.ScalarNode {
		if n.Kind != yaml.AliasNode {
			out.at.fail(CodeKind, kindHint(k), "%s stands where %s is due", kindOf(n), k.due())
		}
		return out
	}
	v, f := parse(n, k)
	if f != nil {
		out.at.fail(f.code, f.hint, "%s", f.message)
		return out
	}
	out.v, out.ok = v, true
	return out
}

func kindHint(k kind) string {
	switch k := k.(type) {
	case quantity:
		return "write " + k.sample()
	case pattern:
		return k.hint()
	case word:
		return "write `" + k[0] + "`"
	}
	return "write one value"
}

func parseQuantity(n *yaml.Node, k kind) (measured, *fault) {
	q, _ := k.(quantity)
	return q.read(n.Value)
}

func (t *table) quantity(key string) item[measured] { return read(t, key, parseQuantity) }

func (t *table) duration(key string) item[time.Duration] {
	return as(t.quantity(key), measured.duration)
}

func (t *table) level(key string) item[zones.Level] { return as(t.quantity(key), measured.level) }

func (t *table) number(key string) item[float64] { return as(t.quantity(key), measured.float) }

// as keeps place and state of an item and changes its value.
func as[T, U any](i item[T], f func(T) U) item[U] {
	out := item[U]{text: i.text, at: i.at, given: i.given, ok: i.ok}
	if i.ok {
		out.v = f(i.v)
	}
	return out
}

var identForm = regexp.MustCompile(`^[a-z0-9-]{1,32}$`)

func parseIdent(n *yaml.Node, _ kind) (string, *fault) {
	switch {
	case identForm.MatchString(n.Value):
		return n.Value, nil
	case len(n.Value) > 32:
		return "", &fault{CodeText, fmt.Sprintf("the id `%s` is longer than 32 characters", shorten(n.Value)), "shorten it"}
	case n.Value == "":
		return "", &fault{CodeText, "the id is empty", "an id is made of a-z, 0-9 and -"}
	}
	return "", &fault{CodeText, fmt.Sprintf("`%s` is no id", shorten(n.Value)), "an id is made of a-z, 0-9 and -" + identGuess(n.Value)}
}

func identGuess(s string) string {
	g := regexp.MustCompile(`[^a-z0-9]+`).ReplaceAllString(strings.ToLower(s), "-")
	if g = strings.Trim(g, "-"); !identForm.MatchString(g) {
		return ""
	}
	return ": `" + g + "`"
}

func (t *table) ident(key string) item[string] { return read(t, key, parseIdent) }

func parseLabel(n *yaml.Node, k kind) (string, *fault) {
	l, _ := k.(label)
	switch {
	case strings.TrimSpace(n.Value) == "":
		return "", &fault{CodeText, "the text is empty", "write a text, or leave the key away"}
	case len([]rune(n.Value)) > l.max:
		return "", &fault{CodeText, fmt.Sprintf("the text is longer than %d characters", l.max), "shorten it"}
	case clean(n.Value) != n.Value:
		return "", &fault{CodeText, "the text has line breaks or control characters", "write it on one line"}
	}
	return n.Value, nil
}

func (t *table) label(key string) item[string] { return read(t, key, parseLabel) }

func parseWord(n *yaml.Node, k kind) (string, *fault) {
	w, _ := k.(word)
	for _, known := range w {
		if n.Value == known {
			return known, nil
		}
	}
	hint := "write " + orList(quoteAll(w))
	if near := nearestWord(n.Value, w); near != "" {
		hint = "did you mean `" + near + "`?"
	}
	return "", &fault{CodeText, fmt.Sprintf("`%s` is not %s", shorten(n.Value), w.due()), hint}
}

func quoteAll(words []string) []string {
	out := make([]string, len(words))
	for i, w := range words {
		out[i] = "`" + w + "`"
	}
	return out
}

func (t *table) word(key string) item[string] { return read(t, key, parseWord) }

var integerForm = regexp.MustCompile(`^(0|[1-9][0-9]{0,8})$`)

func parseInteger(n *yaml.Node, k kind) (int, *fault) {
	w, _ := k.(integer)
	example := "write a whole number from " + strconv.Itoa(w.min) + " to " + strconv.Itoa(w.max)
	if !integerForm.MatchString(n.Value) {
		return 0, &fault{CodeKind, fmt.Sprintf("`%s` is no whole number", shorten(n.Value)), example}
	}
	if quoted(n) {
		return 0, &fault{CodeKind, fmt.Sprintf("`%s` stands in quotes: a number is due", n.Value), "leave the quotes away"}
	}
	v, _ := strconv.Atoi(n.Value)
	if v < w.min || v > w.max {
		return 0, &fault{CodeRange, fmt.Sprintf("`%d` is out of range", v), example}
	}
	return v, nil
}

func (t *table) integer(key string) item[int] { return read(t, key, parseInteger) }

func parseDecimal(n *yaml.Node, k kind) (float64, *fault) {
	d, _ := k.(decimal)
	example := "write a number from " + d.min + " to " + d.max + ", without a unit"
	if !decimalText(n.Value) || len(n.Value) > maxDigits {
		return 0, &fault{CodeKind, fmt.Sprintf("`%s` is no plain number", shorten(n.Value)), example}
	}
	if n.Style&(yaml.SingleQuotedStyle|yaml.DoubleQuotedStyle) != 0 {
		return 0, &fault{CodeKind, fmt.Sprintf("`%s` stands in quotes: a number is due", n.Value), "leave the quotes away"}
	}
	r, _ := new(big.Rat).SetString(n.Value)
	if r.Cmp(bound(d.min+" points")) < 0 || r.Cmp(bound(d.max+" points")) > 0 {
		return 0, &fault{CodeRange, fmt.Sprintf("`%s` is out of range", n.Value), example}
	}
	f, _ := r.Float64()
	return f, nil
}

func (t *table) decimal(key string) item[float64] { return read(t, key, parseDecimal) }

func parseBool(n *yaml.Node, _ kind) (bool, *fault) {
	if n.Style&(yaml.SingleQuotedStyle|yaml.DoubleQuotedStyle) == 0 && (n.Value == "true" || n.Value == "false") {
		return n.Value == "true", nil
	}
	return false, &fault{CodeKind, fmt.Sprintf("`%s` is not true or false", shorten(n.Value)), "write `true` or `false`, without quotes"}
}

func (t *table) boolean(key string) item[bool] { return read(t, key, parseBool) }
