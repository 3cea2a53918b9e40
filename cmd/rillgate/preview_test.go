package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/configs"
	"rillgate/daemon/preview"
	"rillgate/store"
	"rillgate/zones"
	"rillgate/zones/response"
)

// A preview without a state directory assumes, says so, and makes none.
func TestPreviewAssumes(t *testing.T) {
	t.Parallel()
	dir := writeRoom(t, configs.ExampleBay, nil)
	state := filepath.Join(dir, "state")
	for _, name := range []string{"p.html", "p.svg"} {
		out := filepath.Join(dir, name)
		code, text, errs := runProgram(t, "preview", "--config", dir, "--state", state, "--days", "1", "--from", "2027-03-01", "--out", out)
		require.Zero(t, code, errs)
		require.Contains(t, errs, "all is assumed")
		require.Contains(t, text, "simulated from Mon 1 Mar 2027 00:00 CST to Tue 2 Mar 2027 00:00 CST")
		require.Contains(t, text, "GALLONS")
		require.Contains(t, text, "assumed, 1.53 % of the substrate an hour")
		drawing, err := os.ReadFile(out)
		require.NoError(t, err)
		require.Contains(t, string(drawing), "</svg>")
	}
	require.NoDirExists(t, state)
	code, _, errs := runProgram(t, "preview", "--config", dir, "--state", state, "--from", "soon")
	require.Equal(t, 2, code)
	require.Contains(t, errs, "2027-03-01")
}

// What a store remembers to have been taught is used, and the store is only read.
func TestPreviewTakesWhatTheStoreRemembers(t *testing.T) {
	t.Parallel()
	dir := writeRoom(t, configs.ExampleDemo, nil)
	state := t.TempDir()
	loaded, problems := configs.Load(dir)
	require.NotNil(t, loaded, "%v", problems)
	s, _, err := store.Open(storePath(state), store.Options{})
	require.NoError(t, err)
	body, err := json.Marshal(taughtByHand(t, loaded.Plan))
	require.NoError(t, err)
	require.NoError(t, s.SavePapers([]store.Paper{{Kind: "learned", Key: loaded.Plan.Room, At: time.Now(), Body: body}}))
	require.NoError(t, s.Close())
	before, err := os.ReadFile(storePath(state))
	require.NoError(t, err)

	code, text, errs := runProgram(t, "preview", "--config", dir, "--state", state, "--days", "1", "--from", "2027-03-01", "--json")
	require.Zero(t, code, errs)
	require.Contains(t, errs, "from its store")
	var got preview.Result
	require.NoError(t, json.Unmarshal([]byte(text), &got))
	for i, want := range []bool{true, false} {
		learned := false
		for _, b := range got.Zones[i].Basis {
			learned = learned || b.What == "uptake with the lights on" && !b.Assumed
		}
		require.Equal(t, want, learned, got.Zones[i].ID)
	}
	after, err := os.ReadFile(storePath(state))
	require.NoError(t, err)
	require.Equal(t, before, after)
	entries, err := os.ReadDir(state)
	require.NoError(t, err)
	require.Len(t, entries, 1)
}

// taughtByHand is a model whose first zone fell by 2 points an hour for a day of light.
func taughtByHand(t *testing.T, p *zones.Plan) *response.Model {
	t.Helper()
	z := &p.Zones[0]
	all := make([]response.Zone, len(p.Zones))
	for i := range p.Zones {
		all[i] = response.Zone{ID: p.Zones[i].ID, Name: p.Zones[i].ID, Plants: p.Zones[i].Plants, VolumeML: p.Zones[i].VolumeML, FlowLPH: p.Zones[i].FlowLPH()}
		for _, x := range p.Probes {
			if x.Zone == all[i].ID {
				all[i].Probes = append(all[i].Probes, x.ID)
			}
		}
	}
	m := response.New(all)
	m.Lights(0, true)
	for at := time.Duration(0); at < 8*time.Hour; at += time.Minute {
		for _, x := range p.Probes {
			if x.Zone == z.ID {
				m.Sample(response.Sample{Probe: x.ID, At: at, Moisture: 60 - 2*at.Hours()})
			}
		}
		m.Advance(at)
	}
	l, ok := m.Learned(z.ID)
	require.True(t, ok)
	require.InDelta(t, 2, l.UptakeDay.Value, 0.1)
	return m
}

func TestPreviewOfARunningRoom(t *testing.T) {
	level, until := 47.5, time.Now().Add(time.Hour)
	plan := &zones.Plan{Room: "bay"}
	v := &zones.View{Room: "bay", Standing: []zones.StandingView{{Code: zones.LeakFound}}, Zones: []zones.ZoneView{
		{ID: "a", Moisture: &level, Learned: &response.Learned{Zone: "a", Shots: 3}, Latches: []zones.LatchView{{Code: zones.NoResponse}}},
		{ID: "b", HoldUntil: &until},
	}, Probes: []zones.ProbeView{{ID: "p1", Zone: "a", InFiles: true}, {ID: "p2"}, {ID: "p3", Zone: "b"}}}
	got := fromView(v, plan)
	require.Equal(t, map[string]float64{"a": 47.5}, got.level)
	require.Equal(t, 3, got.learned["a"].Shots)
	require.Len(t, got.learned, 1)
	require.Len(t, got.standing, 3)
	require.Equal(t, []zones.Probe{{ID: "p3", Zone: "b"}}, got.assigned)
	require.Contains(t, got.standing[1], "a is latched by no-response now")
	require.Equal(t, lessons{learned: map[string]response.Learned{}, level: map[string]float64{}}, fromView(v, &zones.Plan{Room: "other"}))
}
