package field_test

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/field"
	"rillgate/zones"
)

// Whatever is accepted must be JSON for the standard library too, and in range.
func FuzzDecodeReadings(f *testing.F) {
	for _, seed := range []string{
		`[{"bn":"1:0:","bt":1830000000,"n":"moisture","u":"/","v":0.462},{"n":"ec","u":"S/m","v":0.18},{"n":"temperature","u":"Cel","v":22.1}]`,
		`[{"bn":"1:0:","n":"permittivity","u":"/","v":2e1,"x":[{"y":null}]},{"n":"serial","vs":"S\u00e9"}]`,
		`[{"n":"1:0:moisture","u":"%","v":1e400}]`, `[]`, `[{}]`, `[{"bn":"\ud800"}]`,
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, payload []byte) {
		readings, faults := field.DecodeReadings("north", payload)
		if len(readings) == 0 {
			return
		}
		require.True(t, json.Valid(payload), "taken, but no JSON")
		require.LessOrEqual(t, len(readings), 512)
		require.LessOrEqual(t, len(faults), 16)
		for _, r := range readings {
			require.True(t, r.Moisture >= 0 && r.Moisture <= 100*1000)
			require.Len(t, r.Place.Address, 1)
			require.Positive(t, r.Place.Terminal)
			require.False(t, math.IsInf(r.EC, 0) || math.IsInf(r.Temperature, 0) || math.IsInf(r.Permittivity, 0))
			require.False(t, r.HasTime && r.At.Seconds() < 1<<28)
		}
	})
}

func FuzzDecodeReport(f *testing.F) {
	for _, seed := range []string{
		`{"boot":"9f31c2","uptime_ms":8123456,"epoch":12,"seq":345,"outputs":{"1":{"open":true,"run":"r-51","flow_lpm":6.7},"2":{"open":false}}}`,
		`{"boot":"1","uptime_ms":1e3,"epoch":0,"seq":0,"outputs":{}}`, `{"outputs":{"1":{"open":true},"1":{}}}`,
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, payload []byte) {
		r, fault := field.DecodeReport("north", payload)
		if fault != nil {
			require.Nil(t, r)
			require.NotEmpty(t, fault.Hint)
			return
		}
		require.True(t, json.Valid(payload), "taken, but no JSON")
		require.NotEmpty(t, r.Boot)
		require.GreaterOrEqual(t, r.Uptime, 0*r.Uptime)
		for i, o := range r.Outputs {
			require.Positive(t, o.Number)
			require.True(t, i == 0 || r.Outputs[i-1].Number < o.Number, "outputs out of order")
			require.LessOrEqual(t, len(o.Run), 24)
			require.False(t, math.IsNaN(o.FlowLPM) || math.IsInf(o.FlowLPM, 0))
		}
	})
}

// A topic that is taken apart is the one that its parts build.
func FuzzParseTopic(f *testing.F) {
	for _, seed := range []string{
		"rillgate/bay-2/field/north/readings", "rillgate/bay-2/field/north/valve/12/command",
		"rillgate/bay-2/field/north/input/tank-low", "rillgate/bay-2/field/+/#",
	} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, topic string) {
		got := field.ParseTopic("bay-2", topic)
		root := "rillgate/bay-2/field/" + got.Controller + "/"
		switch got.Kind {
		case field.ReadingsTopic:
			require.Equal(t, root+"readings", topic)
		case field.ReportTopic:
			require.Equal(t, root+"report", topic)
		case field.StatusTopic:
			require.Equal(t, root+"status", topic)
		case field.InputTopic:
			require.Equal(t, root+"input/"+got.Input, topic)
			require.True(t, field.ValidID(got.Input))
		case field.CommandTopic:
			require.Equal(t, field.CommandTopicOf("bay-2", zones.Output{Controller: got.Controller, Number: got.Output}), topic)
		default:
			require.Zero(t, got)
			return
		}
		require.True(t, field.ValidID(got.Controller))
	})
}
