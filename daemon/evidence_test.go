package daemon

import (
	"context"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/operator"
	"rillgate/store"
	"rillgate/zones"
)

func evidenceOf(t *testing.T, d *Daemon, kind, name string) (e *operator.Evidence) {
	t.Helper()
	ask(t, d, func(ctx context.Context) {
		var err error
		if e, err = d.Evidence(ctx, kind, name); err != nil {
			t.Error(err)
		}
	})
	require.NotNil(t, e)
	return e
}

func runsIn(lines []operator.Line) (out []string) {
	for i := range lines {
		out = append(out, lines[i].Kind+" "+lines[i].Run)
	}
	return out
}

// The journal's part of the evidence: a valve's last run, a probe's newest lines; the
// store tells the same once the daemon has ended.
func TestEvidenceFromTheJournal(t *testing.T) {
	o, _ := inRoom(t)
	d := open(t, o)
	v := d.view()
	valve, probe := v.Valves[0], v.Probes[0]
	require.Equal(t, "bench-a", valve.Zone)
	require.Empty(t, evidenceOf(t, d, "valve", valve.ID).Lines)
	wet(d, "r-1", 3, 50)
	wet(d, "r-2", 4, 55)
	d.entry(d.now.Wall, &zones.Entry{Kind: "run-opened", Zone: "bench-b", Run: "r-3"})
	for i := range 9 {
		d.entry(d.now.Wall, &zones.Entry{Kind: "probe-back", Probe: probe.ID, Zone: probe.Zone, Because: fmt.Sprint(i)})
		d.entry(d.now.Wall, &zones.Entry{Kind: "probe-back", Probe: "another", Because: fmt.Sprint(i)})
	}
	d.register.known = map[zones.Place]store.Probe{probe.Place: {Place: probe.Place, FirstSeen: d.now.Wall.Add(-time.Hour), LastSeen: d.now.Wall}}

	check := func(ofValve, ofProbe []operator.Line) {
		t.Helper()
		require.Equal(t, []string{"run-opened r-2", "run-closed r-2"}, runsIn(ofValve))
		require.Len(t, ofProbe, linesShown)
		require.Equal(t, "3", ofProbe[0].Because)
		require.Equal(t, "8", ofProbe[linesShown-1].Because)
	}
	of := evidenceOf(t, d, "valve", valve.ID)
	require.NotNil(t, of.Valve)
	require.Nil(t, of.Probe)
	require.Equal(t, d.room.(Witness).Location(), of.Now.Location())
	on := evidenceOf(t, d, "probe", probe.Place.String())
	require.NotNil(t, on.Probe)
	require.Equal(t, d.now.Wall.Add(-time.Hour), on.First)
	check(of.Lines, evidenceOf(t, d, "probe", probe.ID).Lines)
	require.Equal(t, evidenceOf(t, d, "probe", probe.ID).Lines, on.Lines, "by its place as by its id")
	require.NoError(t, d.Close(nil))

	s, err := store.OpenReadOnly(filepath.Join(o.State, StoreName))
	require.NoError(t, err)
	defer s.Close()
	check(NewestOf("valve", KeptLines(s, LinesWanted("valve", valve.ID, "bench-a"))), NewestOf("probe", KeptLines(s, LinesWanted("probe", probe.ID, ""))))
	require.Empty(t, KeptLines(s, LinesWanted("valve", "stray")), "a valve of no zone has no runs")
	master := Through(&operator.Evidence{Valve: &zones.ValveEvidence{Master: true, Serves: []string{"bench-a", "bench-b"}}}, "")
	require.Equal(t, []string{"run-opened r-3"}, runsIn(NewestOf("valve", KeptLines(s, LinesWanted("valve", "master", master...)))), "of all zones behind it the last")
	require.Empty(t, Through(&operator.Evidence{Valve: &zones.ValveEvidence{}}, ""))
}
