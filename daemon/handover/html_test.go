package handover

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"rillgate/configs"
	"rillgate/zones"
)

func htmlOf(t *testing.T, in *Input) string {
	t.Helper()
	var out strings.Builder
	require.NoError(t, New(in).HTML(&out))
	if dir := os.Getenv("RILLGATE_PICTURES"); dir != "" {
		require.NoError(t, os.WriteFile(filepath.Join(dir, t.Name()+".html"), []byte(out.String()), 0o600))
	}
	return out.String()
}

// Each part is there, and what is not known is said to be so.
func TestWhatIsNotKnownIsSaid(t *testing.T) {
	l := demo(t, nil, nil)
	text := htmlOf(t, &Input{Loaded: l, Now: now, Notices: []string{"no daemon runs <here>"}})
	for _, want := range []string{l.Hash, "no daemon runs &lt;here&gt;", "Who to ask", "Not walked.", "None kept: how evenly", "backflow prevention",
		"licensed electrician", "From the schedule", "home run 12 m", "nagare-2011", "lights_on &#43; 1 h", "wet contact is likely", "2027-03-08 00:30"} {
		require.True(t, strings.Contains(text, want), want)
	}
}

// What stands is listed once; a walk and a catch test are shown.
func TestWhatStandsIsListed(t *testing.T) {
	l := demo(t, strings.NewReplacer(`label: A front}`, `label: A front, offset: -1.5 points}`,
		"units: metric", `units: metric, contacts: [{name: Night desk, role: water <all hours>, phone: "ext. 12"}]`), nil)
	level := 51.2
	latch := zones.LatchView{Code: zones.LeakFound, Since: now, Because: "the floor is wet"}
	v := &zones.View{Room: "demo", Zones: []zones.ZoneView{{ID: "bench-a", Latches: []zones.LatchView{latch}}},
		Alarms: []zones.AlarmView{{Code: zones.LeakFound, Subject: "bench-a", Since: now, Because: "again"}, {Code: zones.AlarmDry, Subject: "bench-b", Since: now, Because: "31 %"}},
		Probes: []zones.ProbeView{{ID: "a1", Place: zones.Place{Controller: "north", Terminal: 1, Address: "0"}, Serial: "S-77", Quality: zones.ProbeGood, Moisture: &level, InFiles: true},
			{Place: zones.Place{Controller: "north", Terminal: 3, Address: "5"}, Quality: zones.ProbeNew}}}
	in := &Input{Loaded: l, Now: now, View: v, Running: true, Problems: []configs.Problem{{File: "room.yaml", Line: 7, Message: "a doubt", Warning: true}},
		Walks: []Paper{{Key: "old", At: now.AddDate(0, 0, -9), Body: json.RawMessage(`{"verdict":"an older one"}`)},
			{Key: "new", At: now.AddDate(0, 0, -1), By: "ana", Body: json.RawMessage(`{"verdict":"as configured"}`)}},
		Catches: []Paper{{Key: "bench-a", At: now, Body: json.RawMessage(`{"zone":"bench-a","volumes":[40,40,40,20],"unit":"mL"}`)}, {Key: "bench-b", At: now, Body: json.RawMessage(`{}`)}}}
	d := New(in)
	require.Len(t, d.Open, 4, "latch, alarm, warning, wiring: %v", d.Open)
	require.Equal(t, Open{What: "Latch leak", Subject: "bench-a", Text: "the floor is wet", Since: "2027-03-08 00:30"}, d.Open[0])
	require.Len(t, d.Probes, 9)
	require.Equal(t, probeLine{ID: "a1", Label: "A front", Place: "north/1/0", Serial: "S-77", Zone: "bench-a", Offset: "-1.5 points", Quality: "good", Moisture: "51.2 %"}, d.Probes[0])
	require.Equal(t, "not in room.yaml", d.Probes[8].Note)
	text := htmlOf(t, in)
	require.Contains(t, text, "2 of the kept walks cannot be read")
	require.Contains(t, text, "<td>water &lt;all hours&gt;<td><b>Night desk</b><td>ext. 12")
	require.NotContains(t, text, "plumbing, backflow (licensed)", "no blanks where there are names")
	require.Contains(t, text, "low quarter 57 %", "20 of a mean of 35")
	require.Contains(t, text, "bench-b, 2027-03-08: cannot be read")
	in.Running = false
	require.Empty(t, New(in).Probes[0].Quality, "a room that does not run has no quality")
}

// The card alone holds the same cards.
func TestTheCardAlone(t *testing.T) {
	l := demo(t, strings.NewReplacer("units: metric", "units: us"), nil)
	var out strings.Builder
	require.NoError(t, CardHTML(&out, l.Plan, past(6), now))
	for _, want := range []string{"07:00, 07:15", "<b>6</b>", "0.8 gal (3.2 L)", "5.1 gal (19.2 L), 400 mL a plant, 6 min of water", "6 min at once, 1 h in 24 h; 5 min apart at least", l.Hash} {
		require.Contains(t, out.String(), want)
	}
	require.NotContains(t, out.String(), "home run")
}
