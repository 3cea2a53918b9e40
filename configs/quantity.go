package configs

import (
	"fmt"
	"math/big"
	"strings"
	"time"

	"rillgate/zones"
)

// limit is one dimension that a value may have, with its bounds, written as in a file.
type limit struct {
	dim      dimension
	min, max string
}

// quantity is a kind: a number with a unit of one of the dimensions.
type quantity struct {
	limits  []limit
	example string
}

func amount(d dimension, min, max, example string) quantity {
	return quantity{[]limit{{d, min, max}}, example}
}

// measured is a quantity in its base unit, exactly.
type measured struct {
	dim   dimension
	value *big.Rat
	unit  string // as written
}

// duration gives the nearest nanosecond of a time.
func (m measured) duration() time.Duration {
	return time.Duration(nearest(new(big.Rat).Mul(m.value, big.NewRat(int64(time.Second), 1))))
}

// level gives the nearest thousandth of a percent (or point).
func (m measured) level() zones.Level {
	return zones.Level(nearest(new(big.Rat).Mul(m.value, big.NewRat(int64(zones.Level(1000)), 1))))
}

// float gives the nearest float64 in the base unit.
func (m measured) float() float64 {
	f, _ := m.value.Float64()
	return f
}

// nearest rounds half away from zero.
func nearest(r *big.Rat) int64 {
	two := big.NewInt(2)
	n := new(big.Int).Mul(r.Num(), two)
	if r.Sign() < 0 {
		n.Sub(n, r.Denom())
	} else {
		n.Add(n, r.Denom())
	}
	return n.Quo(n, new(big.Int).Mul(r.Denom(), two)).Int64()
}

// fault is what is wrong with one value.
type fault struct{ code, message, hint string }

// maxDigits bounds a number: more are a slip of the finger.
const maxDigits = 15

// read takes a value's text apart and checks dimension and bounds.
func (q quantity) read(text string) (measured, *fault) {
	number, name, f := splitQuantity(text, q)
	if f != nil {
		return measured{}, f
	}
	u, known := units[name]
	if f := q.wrongUnit(text, number, name, u, known); f != nil {
		return measured{}, f
	}
	m := measured{u.dim, number.Mul(number, big.NewRat(u.num, u.den)), name}
	return m, q.outOfBounds(text, m)
}

// splitQuantity parts "6.5 L" into 13/2 and "L".
func splitQuantity(text string, q quantity) (*big.Rat, string, *fault) {
	s := strings.TrimSpace(text)
	if f := notFinite(s, q); f != nil {
		return nil, "", f
	}
	i := strings.IndexFunc(s, func(r rune) bool { return !strings.ContainsRune("+-.0123456789", r) })
	if i < 0 {
		i = len(s)
	}
	digits, name := s[:i], strings.TrimSpace(s[i:])
	switch {
	case strings.HasPrefix(name, ",") && digits != "":
		return nil, "", &fault{CodeText, fmt.Sprintf("`%s` has a comma in its number", shorten(s)), "write a decimal point: " + q.sample()}
	case len(digits) > maxDigits:
		return nil, "", &fault{CodeRange, fmt.Sprintf("`%s` has too many digits", shorten(s)), "write " + q.sample()}
	case !decimalText(digits):
		return nil, "", &fault{CodeUnit, fmt.Sprintf("`%s` is no quantity: %s is due", shorten(s), q.due()), "write a number and a unit, " + q.sample()}
	}
	number, _ := new(big.Rat).SetString(digits)
	return number, name, nil
}

func notFinite(s string, q quantity) *fault {
	bare := strings.ToLower(strings.TrimLeft(s, "+-."))
	for _, word := range []string{"nan", "inf", "infinity"} {
		if bare == word || strings.HasPrefix(bare, word+" ") {
			return &fault{CodeRange, fmt.Sprintf("`%s` is not a finite number", shorten(s)), "write a number and a unit, " + q.sample()}
		}
	}
	return nil
}

// decimalText accepts -1, 1.5, .5 and 1. but nothing like 1e3 or 1.2.3.
func decimalText(s string) bool {
	if s != "" && (s[0] == '+' || s[0] == '-') {
		s = s[1:]
	}
	whole, part, _ := strings.Cut(s, ".")
	return len(whole)+len(part) > 0 && allDigits(whole) && allDigits(part)
}

func allDigits(s string) bool {
	return strings.IndexFunc(s, func(r rune) bool { return r < '0' || r > '9' }) < 0
}

func (q quantity) wrongUnit(text string, number *big.Rat, name string, u unit, known bool) *fault {
	switch {
	case name == "":
		return &fault{CodeUnit, fmt.Sprintf("`%s` has no unit: %s is due", shorten(text), q.due()), "write the unit too, " + q.sample()}
	case !known:
		hint := "units here are " + q.unitList() + "; " + q.sample()
		if right, ok := meant(name, q.dims()); ok {
			hint = fmt.Sprintf("write `%s %s`", decimalString(number), right)
		}
		return &fault{CodeUnit, fmt.Sprintf("`%s` is no unit of these files", shorten(name)), hint}
	case q.limitOf(u.dim) == nil:
		return &fault{CodeUnit, fmt.Sprintf("`%s` is %s: %s is due", shorten(text), u.dim, q.due()), q.dimensionHint(number, u.dim)}
	}
	return nil
}

// dimensionHint guesses the common slips: % for points, m for min.
func (q quantity) dimensionHint(number *big.Rat, got dimension) string {
	want := q.limits[0].dim
	switch {
	case got == percentage && want == points:
		return fmt.Sprintf("a difference between two moistures is in points: `%s points`", decimalString(number))
	case got == points && want == percentage:
		return fmt.Sprintf("a moisture is in percent by volume: `%s %%`", decimalString(number))
	case got == length && want == timeSpan:
		return fmt.Sprintf("minutes are `min`: `%s min`", decimalString(number))
	case got == volume && want == flow:
		return "a flow is a volume in a time, " + q.sample()
	}
	return "write " + q.sample()
}

func decimalString(r *big.Rat) string {
	s := r.FloatString(6)
	return strings.TrimRight(strings.TrimRight(s, "0"), ".")
}

func (q quantity) outOfBounds(text string, m measured) *fault {
	l := q.limitOf(m.dim)
	switch {
	case m.value.Sign() < 0 && !strings.HasPrefix(l.min, "-"):
		return &fault{CodeRange, fmt.Sprintf("`%s` is negative", shorten(text)), "write " + q.sample()}
	case m.value.Cmp(bound(l.min)) < 0:
		return &fault{CodeRange, fmt.Sprintf("`%s` is too small: at least %s", shorten(text), l.min), "write " + q.sample()}
	case m.value.Cmp(bound(l.max)) > 0:
		return &fault{CodeRange, fmt.Sprintf("`%s` is too large: at most %s", shorten(text), l.max), "write " + q.sample()}
	}
	return nil
}

// bound reads a bound of the tables; a test reads them all.
func bound(text string) *big.Rat {
	number, name, _ := strings.Cut(text, " ")
	r, _ := new(big.Rat).SetString(number)
	u := units[name]
	return r.Mul(r, big.NewRat(u.num, u.den))
}

func (q quantity) limitOf(d dimension) *limit {
	for i := range q.limits {
		if q.limits[i].dim == d {
			return &q.limits[i]
		}
	}
	return nil
}

func (q quantity) dims() []dimension {
	out := make([]dimension, len(q.limits))
	for i, l := range q.limits {
		out[i] = l.dim
	}
	return out
}

// due names what is due: "a time or a volume".
func (q quantity) due() string {
	var words []string
	for _, l := range q.limits {
		words = append(words, l.dim.String())
	}
	return orList(words)
}

func (q quantity) unitList() string {
	var all []string
	for _, l := range q.limits {
		all = append(all, unitsOf(l.dim)...)
	}
	return strings.Join(all, ", ")
}

func (q quantity) sample() string { return "for example `" + q.example + "`" }

// orList joins words: "a, b or c".
func orList(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " or " + words[len(words)-1]
}
