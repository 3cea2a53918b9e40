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

// The last walk is a table valve by probe, how outputs close a list of the last figures;
// a zone that is not walked as it is wired is an open finding.
func TestWalkOnTheHandOver(t *testing.T) {
	paper := func(at time.Time, r *walk.Result) Paper {
		body, err := json.Marshal(r)
		require.NoError(t, err)
		return Paper{Key: "x", At: at, By: "ana", Body: body}
	}
	late, flow := 0.04, 2.3
	in := &Input{Loaded: demo(t, strings.NewReplacer(), nil), Now: now, View: &zones.View{Room: "demo", Zones: []zones.ZoneView{{ID: "bench-a", NotWalked: "its wiring changed"}, {ID: "bench-b"}}},
		Walks: []Paper{paper(now, &walk.Result{Partial: true, Why: "it was broken off", Probes: []walk.Probe{{ID: "a1", Zone: "bench-a"}, {ID: "b1", Zone: "bench-b"}},
			Valves: []walk.Row{{Valve: "bench-a", Zone: "bench-a", Verdict: walk.Swapped, Because: "it waters bench-b", FlowLPM: &flow,
				Cells: []walk.Cell{{Probe: "a1", Seen: walk.Still}, {Probe: "b1", Seen: walk.Rose, Points: 2.9}}}}})},
		Closings: []Paper{
			paper(now, &walk.Result{Closings: []walk.Closing{{Valve: "bench-a", At: now, Late: &late, Because: "closed by itself 0.04 s after its grant ran out"}}}),
			paper(now, &walk.Result{Closings: []walk.Closing{{Valve: "bench-a", At: now.AddDate(0, 0, -9), Because: "an older figure"}}})}}
	d := New(in)
	require.Contains(t, d.Open, Open{What: "Walk not-walked", Subject: "bench-a", Text: "its wiring changed"})
	text := htmlOf(t, in)
	for _, want := range []string{"Last walked", "it was broken off", "swapped", "it waters bench-b", "2.3 L/min", "a1 [.]", "b1 2.9", "closed by itself 0.04 s"} {
		require.Contains(t, text, want)
	}
	require.NotContains(t, text, "an older figure")
	require.NotContains(t, text, "Not timed")
}
