package zones

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A label is bounded in characters, not bytes: the bound is that of room.yaml.
func TestWhatIsALabel(t *testing.T) {
	for s, want := range map[string]bool{
		"":                       false,
		"x":                      true,
		"by the door, 2nd row":   true,
		"Tür":                    true,
		strings.Repeat("x", 64):  true,
		strings.Repeat("ü", 64):  true,
		strings.Repeat("x", 65):  false,
		strings.Repeat("ü", 65):  false,
		"a\nb":                   false,
		"a\tb":                   false,
		"bell \a":                false,
		"half a letter \xc3":     false,
		"a no-break\u00a0space":  false,
		"turned around \u202ehi": false,
	} {
		require.Equal(t, want, isLabel(s), "%q", s)
	}
}

// The line for room.yaml: a probe of a terminal has an address, one that a bridge names
// has a place; what is not known is left out.
func TestProbeLine(t *testing.T) {
	for want, c := range map[string]struct {
		at          Place
		zone, label string
	}{
		`- {id: p1, address: "5", zone: a, label: "by \"B\""}`: {Place{"north", 2, "5"}, "a", `by "B"`},
		`- {id: p1, address: "5"}`:                             {Place{"north", 2, "5"}, "", ""},
		`- {id: p1, place: "bed/7", zone: a}`:                  {Place{"north", 0, "bed/7"}, "a", ""},
		`- {id: p1, place: "bed/7", label: "front"}`:           {Place{"north", 0, "bed/7"}, "", "front"},
	} {
		require.Equal(t, want, ProbeLine("p1", c.at, c.zone, c.label))
	}
}

// A label may say again what the files say; and a stranger that is labelled is known by its
// id and label after a crash, and waters nothing.
func TestLabelOfAFileAndOfAStranger(t *testing.T) {
	plan := planWith(func(p *Plan) { p.Probes[0].Label = "front" })
	g := newRig(t, plan)
	require.True(t, g.order(Order{Kind: OrderLabel, Subject: "a0", Label: "front"}).Accepted)
	at := Place{"north", 9, "b"}
	g.says(at, 44, "")
	require.True(t, g.order(Order{Kind: OrderLabel, Subject: "north/9/b", Label: "spare"}).Accepted)
	for range 2 {
		p := g.probe("north-9-b")
		require.Equal(t, []any{"spare", "", at, false}, []any{p.Label, p.Zone, p.Place, p.InFiles})
		require.Equal(t, 3, g.zone("a").Assigned)
		g = g.again(plan)
	}
}

// A stranger that is exchanged starts afresh; there is no zone for which it could count.
func TestExchangeOfAStranger(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	at := Place{"north", 9, "b"}
	for range 2 {
		g.says(at, 44, "")
	}
	a := g.order(Order{Kind: OrderExchange, Subject: "north-9-b"})
	require.True(t, a.Accepted)
	require.Equal(t, "north-9-b is the probe at north/9/b now; label and history stay, and it starts afresh", a.Because)
	require.Equal(t, ProbeNew, g.probe("north-9-b").Quality)
	require.Nil(t, g.probe("north-9-b").Moisture, "not heard since")
}

// A probe that is at another place keeps its line: what is told is only what changes.
func TestLineMoves(t *testing.T) {
	from := Place{"north", 1, "0"}
	for to, want := range map[Place]string{
		{"north", 1, "7"}:  "in its line `address: \"0\"` becomes `address: \"7\"`",
		{"south", 2, "7"}:  "its line goes under terminal 2 of south, with `address: \"7\"` for `address: \"0\"`",
		{"south", 0, "x1"}: "its line goes among the probes of south, with `place: \"x1\"` for `address: \"0\"`",
	} {
		require.Equal(t, want, LineMoves(from, to))
	}
}
