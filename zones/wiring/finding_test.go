package wiring

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Each finding at its edge: absent where the limit is just kept, there where it is
// just broken.
func TestFindingsAtTheirEdges(t *testing.T) {
	terminal := func(r *Room) *Terminal { return &r.Controllers[0].Terminals[0] }
	probes := func(n int) func(*Room) {
		return func(r *Room) {
			c := terminal(r)
			c.HomeRunM = 1
			c.Probes = make([]Probe, n)
		}
	}
	home := func(m float64) func(*Room) {
		return func(r *Room) { terminal(r).HomeRunM, terminal(r).Probes = m, make([]Probe, 1) }
	}
	volts := func(kind string, v float64) func(*Room) {
		return func(r *Room) { r.Controllers[0].Volts, r.Controllers[0].Kind = v, kind }
	}
	drop := func(v float64) func(*Room) { // one probe whose ground conductor drops v at 75 °C
		return func(r *Room) {
			home(50)(r)
			terminal(r).DrawA = v / (50 * Gauge(22).OhmsPerMetre(75).value)
		}
	}
	for code, edge := range map[string][2]func(*Room){
		"probes-per-terminal": {probes(10), probes(11)},
		"bus-sensors":         {probes(10), probes(11)},
		"farthest-probe":      {home(175 * foot), home(175.1 * foot)},
		"bus-length":          {home(200 * foot), home(200.1 * foot)},
		"ground-drop":         {drop(0.4999), drop(0.5001)},
		"probe-voltage":       {drop(1.199), drop(1.201)},
		"valve-wire":          {func(r *Room) { r.Controllers[0].Valves[0].Wire = Gauge(18) }, func(r *Room) { r.Controllers[0].Valves[0].Wire = Gauge(19) }},
		"valve-drop":          {func(r *Room) { r.Controllers[0].Valves[0].LengthM = 376 * foot }, func(r *Room) { r.Controllers[0].Valves[0].LengthM = 379 * foot }},
		"class-2-volts":       {volts("ac", 30), volts("ac", 30.1)},
		"class-2-power":       {func(r *Room) { r.Controllers[0].VA = 100 }, func(r *Room) { r.Controllers[0].VA = 101 }},
		"wet-contact":         {volts("ac", 15), volts("ac", 15.1)},
		"canopy-per-probe":    {func(r *Room) { r.Zones[0].CanopyM2 = 200 * squareMetresPerSqft }, func(r *Room) { r.Zones[0].CanopyM2 = 201 * squareMetresPerSqft }},
		"transformer-spare":   {func(r *Room) { r.Controllers[0].VA = 12 }, func(r *Room) { r.Controllers[0].VA = 11.9 }},
		"transformer-load":    {func(r *Room) { r.Controllers[0].VA = 9.6 }, func(r *Room) { r.Controllers[0].VA = 9.5 }},
		"transformer-unrated": {func(*Room) {}, func(r *Room) { r.Controllers[0].VA = 0 }},
		"transformer-unknown": {func(*Room) {}, func(r *Room) { r.Controllers[0].Valves[0].Holding = 0 }},
		"valve-unknown":       {func(*Room) {}, func(r *Room) { r.Controllers[0].Valves[0].LengthM = NotGiven }},
		"bus-unknown":         {func(*Room) {}, func(r *Room) { terminal(r).Cable = Wire{} }},
		"run-unknown":         {func(*Room) {}, func(r *Room) { terminal(r).Probes[1].TailM = NotGiven }},
	} {
		kept, broken := bay(), bay()
		edge[0](&kept)
		edge[1](&broken)
		require.Contains(t, documented(t), "`"+code+"`", "docs/wiring.md says what it means")
		require.NotContains(t, codes(Survey(kept)), code)
		require.Contains(t, codes(Survey(broken)), code)
	}
	dc := bay()
	volts("dc", 30)(&dc)
	require.NotContains(t, codes(Survey(dc)), "wet-contact", "30 V of continuous direct current")
}

// Of many that are too far the farthest are named.
func TestTheFarthestAreNamed(t *testing.T) {
	r := bay()
	line := &r.Controllers[0].Terminals[0]
	line.HomeRunM, line.Star, line.Probes = 0, true, nil
	for i, m := range []float64{70, 71, 1, 90, 80, 72} {
		line.Probes = append(line.Probes, Probe{ID: string(rune('a' + i)), LeadM: 0, TailM: m})
	}
	found := Survey(r).Findings
	i := slices.IndexFunc(found, func(f Finding) bool { return f.Code == "bus-length" })
	require.Contains(t, found[i].Text, "to d, e, f and 2 more: ")
}

func documented(t *testing.T) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "docs", "wiring.md"))
	require.NoError(t, err)
	_, table, found := strings.Cut(string(text), "## What is found")
	require.True(t, found)
	return table
}

// A house that wrote other rules is judged by them; the bus's own limits stay.
func TestTheHouseMayDiffer(t *testing.T) {
	r := bay()
	r.House = House{ProbesPerTerminal: 12, FarthestProbeM: 300, CanopyPerProbeM2: 100, ValveWire: Gauge(22)}
	c := &r.Controllers[0]
	c.Terminals[0].HomeRunM = 70
	c.Valves[0].Wire = Gauge(20)
	for len(c.Terminals[0].Probes) < 12 {
		c.Terminals[0].Probes = append(c.Terminals[0].Probes, Probe{ID: "x", Address: "a", TailM: 1})
	}
	got := codes(Survey(r))
	for _, code := range []string{"probes-per-terminal", "farthest-probe", "valve-wire", "canopy-per-probe"} {
		require.NotContains(t, got, code)
	}
	require.Contains(t, got, "bus-sensors")
	require.Contains(t, got, "bus-length")
}

// Every finding says where, what, what to do and whose limit it is; where the limit
// is no standard's it says so. Nothing claims compliance.
func TestFindingsSayWhatToDo(t *testing.T) {
	r := bay()
	c := &r.Controllers[0]
	c.Volts, c.VA = 48, 9
	c.Valves[0].LengthM, c.Valves[0].Wire = 400*foot, Gauge(24)
	c.Terminals[0].HomeRunM, c.Terminals[0].DrawA = 90, 0.2
	r.Zones[0].CanopyM2 = 1000
	s := Survey(r)
	require.GreaterOrEqual(t, len(s.Findings), 8)
	for _, f := range s.Findings {
		for _, text := range []string{f.Code, f.Subject, f.Text, f.Do, f.Basis} {
			require.NotEmpty(t, text, f.Code)
		}
		require.Contains(t, []string{BasisHouse, BasisPractice, BasisSDI12, BasisNEC, BasisFile}, f.Basis)
		if strings.HasPrefix(f.Code, "class-2") || f.Code == "wet-contact" {
			require.Contains(t, f.Do, "licensed electrician")
		}
	}
	require.True(t, slices.IsSortedFunc(s.Findings, func(a, b Finding) int { return boolInt(b.Warning) - boolInt(a.Warning) }), "warnings first")
	text := s.String()
	for _, claim := range []string{" complies", " compliant", "meets the code", "safe"} {
		require.NotContains(t, text, claim)
	}
}

// The text shows every probe, box, valve and piece, in the room's units.
func TestText(t *testing.T) {
	r := bay()
	text := Survey(r).String()
	for _, want := range []string{"room bay-2 (Bay 2)", "chain of 2 probes, 22 AWG", "home run 60 ft", "[B1]--- 16.4 ft ---  e1  East 1  address 0  zone east  76.4 ft",
		"| 12 ft", "[B2]", "88.4 ft", "north/1/W2", "in all 72 ft of 22 AWG, 3 wires", "377.3 ft"} {
		require.Contains(t, text, want)
	}
	r.US = false
	text = Survey(r).String()
	require.Contains(t, text, "home run 18.3 m")
	require.NotContains(t, text, " ft")
}

// What is not known is null, and lists are never null.
func TestJSON(t *testing.T) {
	r := bay()
	r.Controllers[0].Terminals[0].Probes[1].TailM = NotGiven
	text, err := json.Marshal(Survey(r))
	require.NoError(t, err)
	var got map[string]any
	require.NoError(t, json.Unmarshal(text, &got))
	terminal := got["controllers"].([]any)[0].(map[string]any)["terminals"].([]any)[0].(map[string]any)
	require.Nil(t, terminal["farthest_m"])
	require.InDelta(t, 23.288, terminal["probes"].([]any)[0].(map[string]any)["run_m"], 1e-3)
	for _, r := range []Room{{ID: "x"}, {ID: "x", Controllers: []Controller{{ID: "c", Volts: 24, VA: 40}}}, {ID: "x", Controllers: []Controller{{ID: "c", Terminals: []Terminal{{Number: 1}}}}}} {
		empty, err := json.Marshal(Survey(r))
		require.NoError(t, err)
		for _, list := range []string{"terminals", "valves", "pieces", "cut_list", "cable", "parts", "findings", "assumptions", "open", "boxes", "probes"} {
			require.NotContains(t, string(empty), `"`+list+`":null`)
		}
	}
}
