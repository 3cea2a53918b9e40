package daemon

import (
	"context"
	"encoding/json"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/operator"
	"rillgate/daemon/report"
	"rillgate/store"
	"rillgate/zones"
)

// reported asks a daemon for today's numbers of a zone.
func reported(t *testing.T, d *Daemon, zone string) (day *report.ZoneDay) {
	t.Helper()
	ask(t, d, func(ctx context.Context) {
		r, err := d.Report(ctx, report.Ask{Zone: zone})
		if err != nil || len(r.Days) != 1 || len(r.Days[0].Zones) != 1 {
			t.Errorf("%v %+v", err, r)
			return
		}
		day = &r.Days[0].Zones[0]
	})
	require.NotNil(t, day)
	return day
}

// wet writes a shot and a minute of moisture, as the loop would.
func wet(d *Daemon, run string, litres, moisture float64) {
	d.entry(d.now.Wall, &zones.Entry{Kind: "run-opened", Zone: "bench-a", Run: run, Window: "ramp-up"})
	d.entry(d.now.Wall.Add(time.Minute), &zones.Entry{Kind: "run-closed", Zone: "bench-a", Run: run, Reason: zones.ShotDone, Seconds: 60, Litres: litres})
	v := d.view()
	for i := range v.Zones {
		if v.Zones[i].ID == "bench-a" {
			v.Zones[i].Moisture, v.Zones[i].PoreEC = &moisture, &litres
		}
	}
	d.keeper.sample(&v)
}

// A report holds what is in the store, what is on its way there and what still waits,
// each once; and the store alone tells the same once the daemon has ended.
func TestReportHoldsWhatIsNotWrittenYet(t *testing.T) {
	o, c := inRoom(t)
	d := open(t, o)
	wet(d, "r-1", 3, 50)
	drain, err := json.Marshal(report.Drain{Zone: "bench-a", Plants: 1, DrainML: 300, AppliedML: 1500, In: 2, Out: 5})
	require.NoError(t, err)
	ask(t, d, func(ctx context.Context) {
		if err := d.Keep(ctx, operator.Paper{Kind: operator.PaperDrain, Key: "bench-a/1", Zone: "bench-a", Body: drain}, ""); err != nil {
			t.Error(err)
		}
	})
	check := func(z *report.ZoneDay, shots int, litres, peak float64) {
		t.Helper()
		require.Equal(t, shots, z.Shots)
		require.InDelta(t, litres, z.Litres, 1e-9)
		require.InDelta(t, peak, z.Peak.Value, 1e-9)
		require.InDelta(t, 3, z.PoreEC.Least, 1e-9)
		require.Len(t, z.Drains, 1)
		require.InDelta(t, 0.2, z.Drains[0].Share, 1e-9)
	}
	check(reported(t, d, "bench-a"), 1, 3, 50)

	d.keeper.begin(d) // on its way: neither waiting nor surely in the store
	check(reported(t, d, "bench-a"), 1, 3, 50)

	c.Set(5 * time.Minute)
	_, err = d.Advance()
	require.NoError(t, err)
	wet(d, "r-2", 4, 55)
	check(reported(t, d, "bench-a"), 2, 7, 55)
	now, plan := d.now.Wall, d.choice.plan
	require.NoError(t, d.Close(nil))

	s, err := store.OpenReadOnly(filepath.Join(o.State, StoreName))
	require.NoError(t, err)
	defer s.Close()
	r, err := ReportOf(s, plan, now, report.Ask{Zone: "bench-a"})
	require.NoError(t, err)
	check(&r.Days[0].Zones[0], 2, 7, 55)
	_, err = ReportOf(s, plan, now, report.Ask{Zone: "nowhere"})
	require.ErrorContains(t, err, "nowhere")
	_, err = ReportOf(s, plan, now, report.Ask{Day: "2099-01-01"})
	require.ErrorContains(t, err, "has not begun")
}

// An alarm of the shell names its zone or its probe in the journal.
func TestAlarmsOfTheShellNameTheirZone(t *testing.T) {
	o, _ := inRoom(t)
	d := open(t, o)
	probe := d.choice.plan.Probes[0]
	for subject, want := range map[string]zones.Entry{
		"bench-a": {Zone: "bench-a"}, probe.ID: {Zone: probe.Zone, Probe: probe.ID}, d.o.Room: {},
	} {
		for _, kind := range []string{"alarm", "alarm-over"} {
			if kind == "alarm" {
				d.trouble("test-code", subject, "because")
			} else {
				d.over("test-code", subject)
			}
			lines := d.trail.recent(0, 1)
			require.Equal(t, kind, lines[0].Kind)
			require.Equal(t, want.Zone, lines[0].Zone, subject)
			require.Equal(t, want.Probe, lines[0].Probe, subject)
		}
	}
	require.NoError(t, d.Close(nil))
}
