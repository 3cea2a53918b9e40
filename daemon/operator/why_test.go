package operator_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/operator"
	"rillgate/zones"
)

func sample() *zones.View {
	wet, below, rest := 46.2, 48.0, 40
	return &zones.View{
		Room: "bay-2", Trusted: true, BrokerUp: true, Plan: "abc",
		Zones: []zones.ZoneView{{ID: "east", State: zones.Waiting, Reason: zones.SupplyBusy, Because: "the supply feed waters west",
			Next: "opens when west closes", Moisture: &wet, Counting: 2, Assigned: 3, Below: &below, UsedSeconds: 120, LimitSeconds: 3600}},
		Valves:      []zones.ValveView{{ID: "east", Output: zones.Output{Controller: "north", Number: 1}, Zone: "east", State: zones.ValveClosed}},
		Probes:      []zones.ProbeView{{ID: "e1", Place: zones.Place{Controller: "north", Terminal: 1, Address: "0"}, Zone: "east", Quality: zones.ProbeStale, Because: "silent for 4 min", AgeSeconds: &rest}},
		Controllers: []zones.ControllerView{{ID: "north", Online: true, Ready: true, Boot: "9f31c2"}},
		Inputs:      []zones.InputView{{ID: "tank-low", Controller: "north", Means: zones.SupplyLow}},
		Supplies: []zones.SupplyView{{ID: "feed", Reason: zones.SupplyBusy, Because: "1 of 1 valves are or may be open", Open: 1, MaxOpen: 1,
			Zones: []string{"east", "west"}, Waiting: []string{"east"}}},
	}
}

func TestWhyZoneHoldsTheNumbers(t *testing.T) {
	y, err := operator.Explain(sample(), "east")
	require.NoError(t, err)
	require.Equal(t, "zone", y.Kind, "a zone comes before a valve of the same name")
	require.Equal(t, zones.SupplyBusy, y.Reason)
	require.Equal(t, "the supply feed waters west", y.Because)
	require.NotEmpty(t, y.Rule)
	require.Contains(t, y.Numbers, operator.Number{Name: "moisture", Value: "46.2 % from 2 of 3 probes"})
	require.Contains(t, y.Numbers, operator.Number{Name: "below", Value: "48.0 %"})
	require.Contains(t, y.Numbers, operator.Number{Name: "budget of 24 h", Value: "120 of 3600 s used"})
	require.Contains(t, y.Warnings, "probe e1 is stale: silent for 4 min")
}

func TestWhyWritesTheTimeToDry(t *testing.T) {
	dry, at := 38.0, time.Date(2027, time.March, 3, 8, 55, 0, 0, time.UTC)
	for half, want := range map[float64]string{60: "5 min", 2400: "40 min", 7200: "2 h", 10500: "2 h 55 min"} {
		v := sample()
		v.Zones[0].DryLevel, v.Zones[0].DryAt, v.Zones[0].DryHalf = &dry, &at, half
		y, err := operator.Explain(v, "east")
		require.NoError(t, err)
		require.Contains(t, y.Numbers, operator.Number{Name: "dry without water", Value: "38 % at about Wed 08:55, " + want + " either way"})
	}
}

func TestWhyFindsEverySubject(t *testing.T) {
	for subject, kind := range map[string]string{
		"room": "room", "bay-2": "room", "north/1": "valve", "e1": "probe", "north/1/0": "probe",
		"north": "controller", "tank-low": "input", "supply-busy": "code", "feed": "supply",
	} {
		y, err := operator.Explain(sample(), subject)
		require.NoError(t, err, subject)
		require.Equal(t, kind, y.Kind, subject)
		require.NotEmpty(t, y.Because, subject)
	}
	_, err := operator.Explain(sample(), "nowhere")
	require.ErrorContains(t, err, "nowhere")
}

// All that stands is told, with the words of the first one on top.
func TestWhyRoomTellsAllThatStands(t *testing.T) {
	v := sample()
	y, err := operator.Explain(v, "room")
	require.NoError(t, err)
	require.Equal(t, "running", y.State)
	require.Empty(t, y.Standing)

	since := time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC)
	v.Standing = []zones.StandingView{
		{Code: zones.SecondGateway, Because: "controller north reports epoch 9", Latched: true, Since: &since},
		{Code: zones.StoreFailed, Because: "the ledger cannot be written"},
		{Code: zones.ClockUnsure, Because: "the clock is not trusted"},
	}
	y, err = operator.Explain(v, "bay-2")
	require.NoError(t, err)
	require.Equal(t, "latched", y.State)
	require.Equal(t, zones.SecondGateway, y.Reason)
	require.Equal(t, "controller north reports epoch 9", y.Because)
	require.Equal(t, v.Standing, y.Standing)
	require.Contains(t, y.Do, "reset room")
}

func TestWhyRoomWithoutAPlanIsClosed(t *testing.T) {
	v := sample()
	v.Standing = []zones.StandingView{{Code: zones.AlarmPlanRejected, Because: "room.yaml has errors, so the room stays closed"}, {Code: zones.Starting, Because: "30 s left"}}
	y, err := operator.Explain(v, "room")
	require.NoError(t, err)
	require.Equal(t, "closed", y.State)
	require.Equal(t, zones.AlarmPlanRejected, y.Reason)
}

func TestWhySupplyAndController(t *testing.T) {
	y, err := operator.Explain(sample(), "feed")
	require.NoError(t, err)
	require.Equal(t, "in use", y.State)
	require.Equal(t, zones.SupplyBusy, y.Reason)
	require.Contains(t, y.Numbers, operator.Number{Name: "waiting for it", Value: "east"})

	v := sample()
	v.Controllers[0].Online, v.Controllers[0].Because = false, "controller north: no report for 15 s"
	y, err = operator.Explain(v, "north")
	require.NoError(t, err)
	require.Equal(t, "offline", y.State)
	require.Equal(t, zones.ControllerOffline, y.Reason)
	require.Contains(t, y.Because, "no report")
	require.Contains(t, y.Numbers, operator.Number{Name: "output 1", Value: "east, closed"})
	require.Contains(t, y.Numbers, operator.Number{Name: "input tank-low", Value: "supply-low, not heard"})
}

// Every code that the core can give is explained.
func TestEveryReasonIsExplained(t *testing.T) {
	for _, r := range []zones.Reason{zones.Starting, zones.SecondGateway, zones.CrashLoop, zones.StoppedByPerson, zones.StoreFailed,
		zones.LeakFound, zones.ValveMismatch, zones.BrokerLost, zones.ControllerOffline, zones.SupplyIsLow, zones.ClockUnsure,
		zones.HeldByPerson, zones.NoResponse, zones.OverWet, zones.ProbesLost, zones.ProbesImplausible, zones.DailyLimit,
		zones.MaxRunReached, zones.RestingStill, zones.ShotsSpent, zones.SupplyBusy, zones.PlanChanged, zones.WindowPassed,
		zones.BelowThreshold, zones.DriedBack, zones.ToLevel, zones.TimedShot, zones.ByHand, zones.LostProbesTimed, zones.ShotDone,
		zones.AlarmDry, zones.AlarmProbesDisagree, zones.AlarmUnfinishedRun, zones.AlarmPlanRejected, zones.AlarmStoreDamaged} {
		y, err := operator.Explain(sample(), string(r))
		require.NoError(t, err, r)
		require.NotEmpty(t, y.Rule, r)
	}
}
