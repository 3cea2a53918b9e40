package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

// What only a running daemon knows is taken away; what the ledger holds stays.
func TestARoomThatDoesNotRunHasNoState(t *testing.T) {
	t.Parallel()
	latch := zones.LatchView{Code: zones.NoResponse, Since: time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC), Because: "two shots were not felt"}
	below, until := 45.0, time.Date(2027, 3, 1, 9, 0, 0, 0, time.UTC)
	v := &zones.View{Room: "bay-2", Starting: true,
		Zones: []zones.ZoneView{
			{ID: "east", State: zones.Waiting, Reason: zones.ClockUnsure, Because: "the clock is not trusted", Below: &below, Window: "ramp-up", UsedSeconds: 25},
			{ID: "west", State: zones.Latched, Reason: zones.NoResponse, Latches: []zones.LatchView{latch}, HoldUntil: &until},
		},
		Supplies: []zones.SupplyView{{ID: "feed", Reason: zones.SupplyBusy, Open: 1, MaxOpen: 1}},
		Standing: []zones.StandingView{{Code: zones.Starting}, {Code: zones.CrashLoop, Latched: true, Because: "6 starts"}},
		Alarms:   []zones.AlarmView{{Code: zones.ClockUnsure}, {Code: zones.AlarmUnfinishedRun}, {Code: zones.NoResponse}, {Code: zones.BrokerLost}},
	}
	v.Healthy = &zones.HealthyView{Output: zones.Output{Controller: "north", Number: 9}, Drives: "horn", State: zones.HealthyHeld, Held: true, Alarms: []string{"leak-bay-2"}}
	lifeless(v)
	require.Equal(t, zones.HealthyUnknown, v.Healthy.State)
	require.False(t, v.Healthy.Held)
	horn, err := whyRemembered(v, "healthy")
	require.NoError(t, err)
	require.Equal(t, string(notRunning), horn.State)
	require.Len(t, horn.Numbers, 1, "what hangs on it")
	require.Equal(t, notRunning, v.Zones[0].State)
	require.Equal(t, zones.NoReason, v.Zones[0].Reason)
	require.Equal(t, 25.0, v.Zones[0].UsedSeconds)
	require.Equal(t, "none", v.Zones[0].Window)
	require.Nil(t, v.Zones[0].Below)
	require.Equal(t, zones.NoResponse, v.Zones[1].Reason)
	require.Contains(t, v.Zones[1].Because, latch.Because)
	require.NotNil(t, v.Zones[1].HoldUntil)
	require.Equal(t, []zones.Reason{zones.AlarmUnfinishedRun, zones.NoResponse}, []zones.Reason{v.Alarms[0].Code, v.Alarms[1].Code})
	require.Len(t, v.Alarms, 2)

	y, err := whyRemembered(v, "room")
	require.NoError(t, err)
	require.Equal(t, zones.CrashLoop, y.Reason)
	require.Len(t, y.Standing, 1)
	y, err = whyRemembered(v, "feed")
	require.NoError(t, err)
	require.Equal(t, string(notRunning), y.State)
	require.Empty(t, y.Numbers)
}
