package operator_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/operator"
	"rillgate/zones"
)

var look = time.Date(2027, 3, 2, 14, 20, 5, 0, time.UTC)

func before(d time.Duration) *time.Time {
	t := look.Add(-d)
	return &t
}

func told(t *testing.T, subject string, e *operator.Evidence) map[string]string {
	t.Helper()
	y, err := operator.Explain(sample(), subject)
	require.NoError(t, err)
	e.Now = look
	e.Told(y)
	all := map[string]string{}
	for _, n := range y.Numbers {
		all[n.Name] = n.Value
	}
	for _, w := range y.Warnings {
		all["note"] += w
	}
	return all
}

func TestAKindBeforeANameSaysWhichIsMeant(t *testing.T) {
	for subject, kind := range map[string]string{"east": "zone", "zone east": "zone", "valve east": "valve", "valve north/1": "valve", "probe e1": "probe", "supply feed": "supply", "code resting": "code"} {
		y, err := operator.Explain(sample(), subject)
		require.NoError(t, err, subject)
		require.Equal(t, kind, y.Kind, subject)
	}
	for _, subject := range []string{"probe east", "cupboard east", "room east"} {
		_, err := operator.Explain(sample(), subject)
		require.Error(t, err, subject)
	}
}

func TestWhyValveWithEvidence(t *testing.T) {
	closed := &operator.Evidence{
		Valve: &zones.ValveEvidence{Supply: "feed", ToldAt: before(4 * time.Minute), ToldWhy: zones.ShotDone, Run: "r-3-9", Obeyed: true, ReportedAt: before(3 * time.Second),
			GrantUntil: before(230 * time.Second), Day: []zones.Spending{{Kind: "shots", Seconds: 755, Limit: 3600}, {Kind: "soaks", Seconds: 0, Limit: 7200}},
			MaxRunS: 360, LastEnd: before(4 * time.Minute), RestsTo: before(-2 * time.Minute)},
		Lines: []operator.Line{
			{At: *before(6 * time.Minute), Entry: zones.Entry{Kind: "run-opened", Run: "r-3-9", Reason: zones.BelowThreshold, Because: "ramp: 46.2 % is under 48.0 %"}},
			{At: *before(4 * time.Minute), Entry: zones.Entry{Kind: "run-closed", Run: "r-3-9", Reason: zones.ShotDone, Because: "2 min is given", Seconds: 120, Litres: 6.4}},
		},
	}
	got := told(t, "valve east", closed)
	for name, want := range map[string]string{
		"output": "north/1", "zone": "east", "supply": "feed", "flow": "no meter is heard",
		"kept closed by": "zone east is waiting (supply-busy): the supply feed waters west", "next": "opens when west closes",
		"commanded":   "closed at 2027-03-02 14:16:05, 4m0s ago (shot-done), run r-3-9",
		"last report": "closed, at 2027-03-02 14:20:02, 3 seconds ago",
		"obeyed":      "a report after the last command shows it so",
		"grant":       "the last one ran out 2027-03-02 14:16:15, 3m50s ago",
		"last run":    "r-3-9 opened 2027-03-02 14:14:05, 6m0s ago (below-threshold): ramp: 46.2 % is under 48.0 %",
		"it ended":    "after 2m0s (shot-done): 2 min is given; 6.4 L for the zone",
		"shots, 24 h": "755 of 3600 s used", "soaks, 24 h": "0 of 7200 s used", "max_run": "360 s",
		"rests until": "2027-03-02 14:22:05, in 2m0s", "last given water": "until 2027-03-02 14:16:05, 4m0s ago",
	} {
		require.Equal(t, want, got[name], name)
	}
}

// A master has no run of its own: the last one through it is some zone's, and is said so.
func TestWhyOfAMaster(t *testing.T) {
	master := func(serves []string, lines ...operator.Line) map[string]string {
		return told(t, "north/1", &operator.Evidence{Valve: &zones.ValveEvidence{Supply: "feed", Master: true, Serves: serves}, Lines: lines})
	}
	got := master([]string{"east", "west"},
		operator.Line{At: *before(6 * time.Minute), Entry: zones.Entry{Kind: "run-opened", Zone: "west", Run: "r-3-9", Reason: zones.BelowThreshold, Because: "it was dry"}},
		operator.Line{At: *before(4 * time.Minute), Entry: zones.Entry{Kind: "run-closed", Zone: "west", Run: "r-3-9", Reason: zones.ShotDone, Because: "2 min is given", Seconds: 120}})
	require.Equal(t, "r-3-9 of zone west opened 2027-03-02 14:14:05, 6m0s ago (below-threshold): it was dry", got["last run through it"])
	require.Equal(t, "after 2m0s (shot-done): 2 min is given", got["it ended"])
	require.NotContains(t, got, "last run")
	require.Equal(t, "the journal knows none of east, west", master([]string{"east", "west"})["last run through it"])
	require.Equal(t, "no zone is on its supply", master(nil)["last run through it"])
	v := sample()
	v.Valves = append(v.Valves, zones.ValveView{ID: "main", Master: true, Output: zones.Output{Controller: "north", Number: 8}})
	v.Supplies[0].Master, v.Supplies[0].Zones = "main", []string{"east", "west"}
	y, err := operator.Explain(v, "main")
	require.NoError(t, err)
	require.Contains(t, y.Numbers, operator.Number{Name: "zone", Value: "none: it is the master of supply " + v.Supplies[0].ID + ", and opens with the valves of east, west"})
}

func TestWhyValveThatIsOpenOrUnknown(t *testing.T) {
	open := told(t, "north/1", &operator.Evidence{Valve: &zones.ValveEvidence{ToldOpen: true, Run: "r-1-1", ToldAt: before(20 * time.Second), GrantUntil: before(-12 * time.Second), Granted: true,
		ReportedAt: before(2 * time.Second), ReportedOpen: true}})
	require.Equal(t, "open at 2027-03-02 14:19:45, 20 seconds ago, run r-1-1", open["commanded"])
	require.Equal(t, "no report after the last command shows it so", open["obeyed"])
	require.Equal(t, "runs out 2027-03-02 14:20:17, in 12 seconds, unless it is renewed", open["grant"])

	never := told(t, "north/1", &operator.Evidence{Valve: &zones.ValveEvidence{Spent: true, Day: []zones.Spending{{Kind: "shots", Limit: 3600}}}})
	require.Equal(t, "nothing yet, by this process", never["commanded"])
	require.Equal(t, "none that names it, since its controller's start", never["last report"])
	require.Equal(t, "none was given by this process", never["grant"])
	require.Equal(t, "the journal knows none", never["last run"])
	require.Equal(t, "counts as spent, all 3600 s: what it gave is not known", never["shots, 24 h"])
	require.Contains(t, never["note"], "rillgate reset budget")

	dead := told(t, "north/1", &operator.Evidence{Dead: true, Valve: &zones.ValveEvidence{Latches: []zones.LatchView{{Code: zones.ValveMismatch, Since: look, Because: "open though closed"}}}})
	require.NotContains(t, dead, "commanded", "nobody knows it while no daemon runs")
	require.Contains(t, dead["note"], "latched: valve-mismatch")
}

func TestWhyProbeWithEvidence(t *testing.T) {
	value, fell := 46.24, 51.2
	got := told(t, "e1", &operator.Evidence{
		Probe: &zones.ProbeEvidence{HeardAt: before(4 * time.Minute), OwnTime: true, Readings: 812, Stale: 180, Lowest: 2, Highest: 95, FellFrom: &fell, LeftOut: before(-90 * time.Minute),
			Curve: "coir", CurveSource: "a source, 1999", CurveDoubt: 3, Offset: -1.5, ZoneValue: &value, ZoneCounts: 2, ZoneHas: 3, Quorum: 2},
		First: look.Add(-100 * 24 * time.Hour),
		Lines: []operator.Line{{At: *before(50 * time.Hour), Entry: zones.Entry{Kind: "probe-implausible", Probe: "e1", Because: "fell", By: "ana (uid 1000)"}}},
	})
	for name, want := range map[string]string{
		"place": "north/1/0", "zone": "east", "serial": "none", "named in": "no file: the wire or an order brought it", "age": "40s",
		"last reading": "2027-03-02 14:16:05, 4m0s ago", "readings in a row": "812 since the start or the last silence; they bear a time of their own",
		"stale after": "3m0s", "plausible": "2 to 95 %", "left out": "it fell from 51.2 % faster than substrate dries", "ignored by a person": "until 2027-03-02 15:50:05, in 1 h 30 min",
		"counts": "no: silent for 4 min", "its zone": "46.2 % from them; 2 of 3 probes count, 2 are needed",
		"moisture by": "permittivity and the curve coir (a source, 1999), if it sends no moisture", "curve good to": "3 points", "offset": "-1.5 points, added to each moisture",
		"first heard": "2026-11-22 14:20:05, 100 days ago", "journal": "2027-02-28 12:20:05, 2 days ago probe-implausible: fell (by ana (uid 1000))",
	} {
		require.Equal(t, want, got[name], name)
	}
	own := told(t, "e1", &operator.Evidence{Probe: &zones.ProbeEvidence{Sent: true, Counts: true, Quorum: 1, ZoneHas: 1}})
	require.Equal(t, "the probe itself: no curve is asked", own["moisture by"])
	require.Equal(t, "yes", own["counts"])
	require.Equal(t, "none", own["offset"])
	require.Equal(t, "never", own["last reading"])
	stray := told(t, "e1", &operator.Evidence{Probe: &zones.ProbeEvidence{}})
	require.Equal(t, "no: it is in no zone", stray["counts"])
	require.Contains(t, stray["moisture by"], "a curve belongs to a zone's substrate")
	dead := told(t, "e1", &operator.Evidence{Dead: true, Probe: &zones.ProbeEvidence{Curve: "coir", CurveOwn: true}, Last: look.Add(-time.Hour)})
	require.NotContains(t, dead, "counts")
	require.Equal(t, "2027-03-02 13:20:05, 1 h ago", dead["last heard"])
	require.Contains(t, dead["moisture by"], "your own samples")
}

// A word about a number is no format.
func TestPercentSignsInWordsStay(t *testing.T) {
	v := sample()
	pore := 2.4
	v.Probes[0].PoreEC, v.Probes[0].PoreWhy = &pore, "Hilhorst 2000, about 20 % either way"
	y, err := operator.Explain(v, "e1")
	require.NoError(t, err)
	require.Contains(t, y.Numbers, operator.Number{Name: "pore EC", Value: "2.4 mS/cm: Hilhorst 2000, about 20 % either way"})
}
