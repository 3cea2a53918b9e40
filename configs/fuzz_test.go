package configs

import (
	"bytes"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

// FuzzParse: whatever the bytes are, Parse ends, tells each problem with a place and
// a hint, and lets nothing through that is over a ceiling.
func FuzzParse(f *testing.F) {
	for _, room := range []map[string][]byte{baseFiles(f), ExampleFiles(ExampleBay), ExampleFiles(ExampleDemo)} {
		f.Add(room[RoomFile], room[ScheduleFile], room[GatewayFile])
	}
	for _, text := range []string{"", "a", "? [", "\t", "zones: *x", "day: {lights_on: \"06:00\"", "{}", "[]", "---\n---\n", "a: &a [*a]"} {
		f.Add([]byte(text), []byte(text), []byte(text))
	}
	f.Fuzz(func(t *testing.T, room, schedule, gateway []byte) {
		files := map[string][]byte{RoomFile: room, ScheduleFile: schedule, GatewayFile: gateway}
		l, ps := Parse(files)
		requireTold(t, ps)
		require.Equal(t, Failed(ps), l == nil)
		if l == nil {
			return
		}
		requireWithinCeilings(t, l)
		again, _ := Parse(files)
		require.Equal(t, l, again)
		require.False(t, bytes.Contains([]byte(told(ps)), []byte{0x1b}), "no control codes reach a terminal")
	})
}

func requireWithinCeilings(t *testing.T, l *Loaded) {
	t.Helper()
	require.GreaterOrEqual(t, l.Plan.Lease, zones.LeaseMin)
	require.LessOrEqual(t, l.Plan.Lease, zones.LeaseMax)
	outputs := map[zones.Output]bool{}
	for _, v := range l.Plan.Valves {
		require.False(t, outputs[v.Output], "an output used twice")
		outputs[v.Output] = true
	}
	for i := range l.Plan.Zones {
		requireZoneWithin(t, &l.Plan.Zones[i])
	}
}

func requireZoneWithin(t *testing.T, z *zones.Zone) {
	t.Helper()
	require.NotEmpty(t, z.Valves)
	for d, most := range map[time.Duration]time.Duration{z.Limits.MaxRun: zones.MaxRunCeiling, z.Limits.MaxPerDay: zones.MaxPerDayCeiling} {
		require.Positive(t, d)
		require.LessOrEqual(t, d, most)
	}
	require.GreaterOrEqual(t, z.Limits.MinRest, zones.MinRestFloor)
	require.Positive(t, z.Limits.MaxMoisture)
	require.LessOrEqual(t, z.Limits.MaxMoisture, z.Moisture.PlausibleHi)
	require.Less(t, z.Moisture.PlausibleLo, z.Moisture.PlausibleHi)
	for _, w := range z.Schedule.Windows {
		d, ok := z.RunTime(w.Shot)
		require.True(t, ok)
		require.LessOrEqual(t, d.Seconds()*max(z.Schedule.Scale.Shot, 0.1), z.Limits.MaxRun.Seconds()+1e-6)
	}
	if z.Lost != nil {
		d, ok := z.RunTime(z.Lost.Shot)
		require.True(t, ok)
		require.LessOrEqual(t, d, z.Limits.MaxRun)
		require.LessOrEqual(t, z.Lost.MaxPerDay, z.Limits.MaxPerDay)
	}
}
