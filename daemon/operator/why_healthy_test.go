package operator_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/operator"
	"rillgate/zones"
)

// guarded is the sample with a horn on north/9, in a state of its own.
func guarded(state zones.HealthyState, alarms ...string) *zones.View {
	v := sample()
	v.Alarms = []zones.AlarmView{{Code: zones.LeakFound, Subject: "bay-2", Since: look.Add(-time.Hour), Because: "input floor is active"},
		{Code: zones.OverWet, Subject: "east", Since: look}}
	v.Healthy = &zones.HealthyView{Output: zones.Output{Controller: "north", Number: 9}, Drives: "horn over the door", State: state,
		Held: state == zones.HealthyHeld, Since: look.Add(-time.Hour), Alarms: alarms}
	if !v.Healthy.Held {
		v.Healthy.Because = "leak of bay-2: input floor is active"
	}
	return v
}

// Asked by its word, its place or its kind, it says how it is, since when, what keeps it
// dropped, what hangs on it and what to do.
func TestWhyHealthy(t *testing.T) {
	for _, subject := range []string{"healthy", "north/9", "output north/9", "output healthy"} {
		y, err := operator.Explain(guarded(zones.HealthyDropped, "leak-bay-2"), subject)
		require.NoError(t, err, subject)
		require.Equal(t, []string{"output", "north/9", "dropped"}, []string{y.Kind, y.Subject, y.State})
		require.Equal(t, "it is dropped: leak of bay-2: input floor is active", y.Because)
		require.Contains(t, y.Do, "rillgate acknowledge CODE")
		require.Equal(t, []operator.Number{{"drives", "horn over the door"}, {"since", "2027-03-02 13:20:05"}, {"kept dropped by", "leak-bay-2"}}, y.Numbers)
		require.Equal(t, []string{"alarm leak on bay-2 since 2027-03-02 13:20:05: input floor is active"}, y.Warnings, "what does not drop it is not told")
	}
	y, err := operator.Explain(guarded(zones.HealthyHeld), "healthy")
	require.NoError(t, err)
	require.Equal(t, "all is well: no urgent alarm stands, and its controller reports it held", y.Because)
	require.Empty(t, y.Do)
	y, err = operator.Explain(guarded(zones.HealthyStuck), "healthy")
	require.NoError(t, err)
	require.Contains(t, y.Do, "another watch")
	_, err = operator.Explain(sample(), "healthy")
	require.Error(t, err, "a room without one")
	y, err = operator.Explain(guarded(zones.HealthyHeld), "output north/1")
	require.NoError(t, err)
	require.Equal(t, "valve", y.Kind)
}

// Room and controller name it too.
func TestHealthyAmongTheRest(t *testing.T) {
	y, err := operator.Explain(guarded(zones.HealthyDropped), "room")
	require.NoError(t, err)
	require.Contains(t, y.Numbers, operator.Number{Name: "healthy output", Value: "dropped since 2027-03-02 13:20:05, north/9, horn over the door: leak of bay-2: input floor is active"})
	y, err = operator.Explain(guarded(zones.HealthyHeld), "north")
	require.NoError(t, err)
	require.Contains(t, y.Numbers, operator.Number{Name: "output 9", Value: "healthy, held"})
	require.Equal(t, "unknown, north/9", operator.HealthyWords(&zones.HealthyView{Output: zones.Output{Controller: "north", Number: 9}, State: zones.HealthyUnknown}))
}

// With evidence: what it was told, what was reported, its grant and the journal's lines.
func TestWhyHealthyWithEvidence(t *testing.T) {
	y, err := operator.Explain(guarded(zones.HealthyHeld), "healthy")
	require.NoError(t, err)
	line := operator.Line{At: look.Add(-time.Hour), Entry: zones.Entry{Kind: "healthy", Because: "all is well: output north/9 is held"}}
	e := &operator.Evidence{Now: look, Lines: []operator.Line{line}, Valve: &zones.ValveEvidence{ToldOpen: true, ToldAt: before(time.Hour), Run: "h-3-9", Obeyed: true,
		ReportedAt: before(3 * time.Second), ReportedOpen: true, GrantUntil: before(-25 * time.Second), Granted: true}}
	e.Told(y)
	require.Contains(t, y.Numbers, operator.Number{Name: "commanded", Value: "held at 2027-03-02 13:20:05, 1 h ago, run h-3-9"})
	require.Contains(t, y.Numbers, operator.Number{Name: "last report", Value: "held, at 2027-03-02 14:20:02, 3 seconds ago"})
	require.Contains(t, y.Numbers, operator.Number{Name: "grant", Value: "runs out 2027-03-02 14:20:30, in 25 seconds, unless it is renewed"})
	require.Contains(t, y.Numbers, operator.Number{Name: "journal", Value: "2027-03-02 13:20:05, 1 h ago healthy: all is well: output north/9 is held"})
}

// A soak that is on is told with its own limit, what it gave and what is left.
func TestWhyZoneInASoak(t *testing.T) {
	v := sample()
	z := &v.Zones[0]
	seventy := 70.0
	z.MaxMoisture = &seventy
	numbers := func() map[string]string {
		y, err := operator.Explain(v, "east")
		require.NoError(t, err)
		all := map[string]string{}
		for _, n := range y.Numbers {
			all[n.Name] = n.Value
		}
		return all
	}
	all := numbers()
	require.Equal(t, "70.0 %", all["max_moisture"])
	require.NotContains(t, all, "soak budget of 24 h", "it may not be soaked")
	z.SoakRoom = &zones.SoakRoom{UsedSeconds: 480, LimitSeconds: 7200, LeftSeconds: 6720, LeftML: 3733}
	z.Soak = &zones.SoakView{VolumeML: 2000, GivenML: 533, Runs: 9, Begun: 2, RunSeconds: 240, RestSeconds: 600, MaxMoisture: 80, Until: look}
	all = numbers()
	require.NotContains(t, all, "max_moisture")
	require.Equal(t, "80.0 %", all["max_moisture of the soak"])
	require.Equal(t, "533 mL of 2 L a plant given, 2 of 9 runs begun, each of 4m0s with 10m0s between; no run begins after 14:20", all["soak"])
	require.Equal(t, "480 of 7200 s used, 6720 s left, 3.73 L a plant", all["soak budget of 24 h"])
	z.BudgetSpent, z.Soak = true, nil
	require.Equal(t, "counts as spent, all 7200 s: what was given is not known", numbers()["soak budget of 24 h"])
}
