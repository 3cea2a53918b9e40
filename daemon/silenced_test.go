package daemon

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

// alarmOf gives an alarm that stands.
func alarmOf(t *testing.T, d *Daemon, code zones.Reason) zones.AlarmView {
	t.Helper()
	v := d.view()
	for _, a := range v.Alarms {
		if a.Code == code {
			return a
		}
	}
	require.FailNow(t, "no alarm", "%s", code)
	return zones.AlarmView{}
}

func advanceTo(t *testing.T, d *Daemon, c *VirtualClock, to time.Duration) {
	t.Helper()
	c.Set(to)
	_, err := d.Advance()
	require.NoError(t, err)
}

// What somebody acknowledged stays silent over a restart, as long as the alarm lasts;
// when it comes anew it rings.
func TestAcknowledgementsSurvive(t *testing.T) {
	o, c := inRoom(t)
	d := open(t, o)
	advanceTo(t, d, c, time.Minute)
	require.False(t, alarmOf(t, d, zones.BrokerLost).Acknowledged)
	ask(t, d, func(ctx context.Context) {
		a, err := d.Order(ctx, zones.Order{Kind: zones.OrderAcknowledge, Subject: string(zones.BrokerLost), Source: "socket", By: "ana (uid 1000)"})
		if err != nil || !a.Accepted {
			t.Errorf("%v %+v", err, a)
		}
	})
	require.True(t, alarmOf(t, d, zones.BrokerLost).Acknowledged)
	require.NoError(t, d.Close(nil))

	d = open(t, o)
	kept, err := d.files.store.Acknowledged()
	require.NoError(t, err)
	require.Len(t, kept, 1)
	require.Equal(t, "ana (uid 1000)", kept[0].By)
	advanceTo(t, d, c, 2*time.Minute)
	require.True(t, alarmOf(t, d, zones.BrokerLost).Acknowledged)
	require.False(t, alarmOf(t, d, zones.ControllerOffline).Acknowledged, "another alarm was not meant")

	d.step(&zones.BrokerLink{Up: true})
	d.step(&zones.BrokerLink{Up: false})
	require.False(t, alarmOf(t, d, zones.BrokerLost).Acknowledged, "a new one rings")
	require.NoError(t, d.Close(nil))
	d = open(t, o)
	kept, err = d.files.store.Acknowledged()
	require.NoError(t, err)
	require.Empty(t, kept)
	require.NoError(t, d.Close(nil))
}

// An acknowledgement from before a restart is for the alarm that comes back with the
// room, not for one that comes much later.
func TestOldAcknowledgementsEnd(t *testing.T) {
	var s silenced
	s.remember(nil, 0)
	alarms := func(acknowledged bool) []zones.AlarmView {
		return []zones.AlarmView{{Code: zones.AlarmDry, Subject: "east", Acknowledged: acknowledged}}
	}
	s.put(alarms(true), noon, 0)
	fresh, gone := s.unsaved()
	require.Len(t, fresh, 1)
	require.Empty(t, gone)
	for _, back := range []struct {
		after  time.Duration
		silent bool
	}{{silencedFor, true}, {silencedFor + time.Second, false}} {
		var next silenced
		next.remember(fresh, time.Hour)
		next.put(nil, noon, time.Hour+back.after)
		a := alarms(false)
		next.put(a, noon, time.Hour+back.after)
		require.Equal(t, back.silent, a[0].Acknowledged, back.after)
	}
}
