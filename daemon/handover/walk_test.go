package handover

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
	"rillgate/zones/walk"
)

// What walks have left is a table valve by probe, each valve with the date of its own last
// row; how outputs close is a list of the last figures; a zone that is not walked as it is
// wired is an open finding.
func TestWalkOnTheHandOver(t *testing.T) {
	paper := func(at time.Time, by string, r any) Paper {
		body, err := json.Marshal(r)
		require.NoError(t, err)
		return Paper{Key: "x", At: at, By: by, Body: body}
	}
	late, flow, before := 0.04, 2.3, now.AddDate(0, 0, -9)
	probes := []walk.Probe{{ID: "a1", Zone: "bench-a"}, {ID: "b1", Zone: "bench-b"}}
	in := &Input{Loaded: demo(t, strings.NewReplacer(), nil), Now: now, View: &zones.View{Room: "demo",
		Zones:  []zones.ZoneView{{ID: "bench-a", NotWalked: "its wiring changed: `rillgate walk bench-a`"}, {ID: "bench-b", Wiring: "m"}},
		Valves: []zones.ValveView{{ID: "bench-a", Zone: "bench-a"}, {ID: "bench-b", Zone: "bench-b"}}},
		Walks: []Paper{
			paper(before, "ben", &walk.Result{Begun: before, Probes: probes,
				Valves: []walk.Row{{Valve: "bench-b", Zone: "bench-b", Watched: true, Verdict: walk.AsConfigured, Because: "1 of 1 probes of bench-b rose",
					Cells: []walk.Cell{{Probe: "a1", Seen: walk.Still}, {Probe: "b1", Seen: walk.Rose, Points: 3.1}}}}}),
			paper(now, "ana", &walk.Result{Begun: now, Partial: true, Why: "it was broken off", Probes: probes,
				Valves: []walk.Row{{Valve: "bench-a", Zone: "bench-a", Watched: true, Verdict: walk.Swapped, Because: "it waters bench-b", FlowLPM: &flow,
					Cells: []walk.Cell{{Probe: "a1", Seen: walk.Still}, {Probe: "b1", Seen: walk.Rose, Points: 2.9}}},
					{Valve: "bench-b", Zone: "bench-b", Verdict: walk.NotWalked, Because: "the walk has not come to it"}}})},
		Accepts: []Paper{paper(now, "ana", walk.Accepted{Zone: "bench-b", Wiring: "m", At: now, By: "ana", Note: "saw the bed wet"})},
		Closings: []Paper{
			paper(now, "ana", &walk.Result{Closings: []walk.Closing{{Valve: "bench-a", At: now, Late: &late, Because: "closed by itself 0.04 s after its grant ran out"}}}),
			paper(now, "ana", &walk.Result{Closings: []walk.Closing{{Valve: "bench-a", At: before, Because: "an older figure"}}})}}
	at := now
	in.View.Zones[1].WalkedAt = &at
	d := New(in)
	require.Contains(t, d.Open, Open{What: "Walk not-walked", Subject: "bench-a", Text: "its wiring changed: `rillgate walk bench-a`"})
	text := htmlOf(t, in)
	for _, want := range []string{"by ana: 0 of 2 valves as configured; bench-a swapped, bench-b not-walked; partial: it was broken off", "swapped", "it waters bench-b", "2.30 L/min", "a1 [.]", "b1 2.9", "b1 [3.1]", "closed by itself 0.04 s",
		"1 of 1 probes of bench-b rose", before.In(in.Loaded.Plan.Calendar.Location).Format(time.DateOnly), "counts as walked by the word of ana", "saw the bed wet", "<code>rillgate walk bench-a</code>"} {
		require.Contains(t, text, want)
	}
	require.NotContains(t, text, "an older figure")
	require.NotContains(t, text, "has not come to it")
	require.NotContains(t, text, "Not timed")
}
