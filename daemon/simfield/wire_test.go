package simfield

import (
	"math"
	"strings"
	"testing"
	"time"

	"rillgate/daemon/field"
	"rillgate/zones"

	"github.com/stretchr/testify/require"
)

func stamp(t time.Time) time.Duration { return time.Duration(t.UnixNano()) }

// The readings example of the field topics, to the byte.
func TestReadingsAsDocumented(t *testing.T) {
	m := &zones.Reading{
		Place: zones.Place{Controller: "north", Terminal: 1, Address: "0"}, Moisture: 46200, HasMoisture: true,
		Permittivity: math.NaN(), EC: 1.8, Temperature: 22.1, At: 1830000000 * time.Second, HasTime: true,
	}
	require.Equal(t, `[{"bn":"1:0:","bt":1830000000,"n":"moisture","u":"/","v":0.462},{"n":"ec","u":"S/m","v":0.18},{"n":"temperature","u":"Cel","v":22.1}]`,
		string(encodeReadings([]*zones.Reading{m})))
}

// The report example of the field topics, to the byte.
func TestReportAsDocumented(t *testing.T) {
	r := &zones.Report{Boot: "9f31c2", Uptime: 8123456 * time.Millisecond, Epoch: 12, Seq: 345, Outputs: []zones.OutputReport{
		{Number: 1, Open: true, Run: "r-51", FlowLPM: 6.7}, {Number: 2, FlowLPM: -1},
	}}
	require.Equal(t, `{"boot":"9f31c2","uptime_ms":8123456,"epoch":12,"seq":345,"outputs":{"1":{"open":true,"run":"r-51","flow_lpm":6.7},"2":{"open":false}}}`,
		string(encodeReport(r)))
}

// What is sent is what the gateway's own decoders read.
func TestGatewayReadsWhatIsSent(t *testing.T) {
	at := time.Date(2027, 3, 1, 6, 0, 0, 250e6, time.UTC)
	sent := []*zones.Reading{
		{Place: zones.Place{Controller: "north", Terminal: 1, Address: "0"}, Moisture: 46300, HasMoisture: true, Permittivity: math.NaN(), EC: 1.37, Temperature: 19.6, At: stamp(at), HasTime: true, Serial: "sim-a"},
		{Place: zones.Place{Controller: "north", Terminal: 12, Address: "z"}, Moisture: 0, HasMoisture: true, Permittivity: math.NaN(), EC: 0, Temperature: 20, At: stamp(at.Add(-time.Hour)), HasTime: true},
		{Place: zones.Place{Controller: "north", Terminal: 2, Address: "A"}, Moisture: 100000, HasMoisture: true, Permittivity: math.NaN(), EC: 0.01, Temperature: -3.5, At: stamp(at), HasTime: true},
	}
	got, faults := field.DecodeReadings("north", encodeReadings(sent))
	require.Empty(t, faults)
	require.Len(t, got, len(sent))
	for i := range got {
		require.True(t, math.IsNaN(got[i].Permittivity))
		require.InDelta(t, sent[i].EC, got[i].EC, 1e-9)
		got[i].Permittivity, got[i].EC = 0, 0
		want := *sent[i]
		want.Permittivity, want.EC = 0, 0
		require.Equal(t, want, got[i])
	}
	rep := &zones.Report{Controller: "north", Boot: "00010a0f", Uptime: 49 * 24 * time.Hour, Epoch: 1<<31 - 1, Seq: 7, Outputs: []zones.OutputReport{
		{Number: 1, Open: true, Run: "r-1", FlowLPM: 3.25}, {Number: 8, FlowLPM: 0}, {Number: 12, FlowLPM: -1},
	}}
	back, f := field.DecodeReport("north", encodeReport(rep))
	require.Nil(t, f)
	require.Equal(t, rep, back)
}

func TestReadingsWithoutTimes(t *testing.T) {
	m := &zones.Reading{Place: zones.Place{Terminal: 1, Address: "0"}, Moisture: 50000, EC: math.NaN(), Temperature: math.NaN()}
	require.Equal(t, `[{"bn":"1:0:","n":"moisture","u":"/","v":0.5}]`, string(encodeReadings([]*zones.Reading{m})))
}

// What the gateway writes is what a controller reads.
func TestControllerReadsTheGatewaysCommands(t *testing.T) {
	out := zones.Output{Controller: "north", Number: 3}
	for _, c := range []zones.Command{
		{Output: out, Epoch: 12, Seq: 345, Run: "r-51", Open: true, Boot: "9f31c2", UntilMS: 8153456},
		{Output: out, Epoch: 12, Seq: 346, Run: "r-51"},
		{Output: out, Epoch: 12, Seq: 347},
	} {
		got, err := decodeCommand(out, field.EncodeCommand(&c))
		require.NoError(t, err)
		require.Equal(t, &c, got)
	}
}

func TestRefusesCommandsThatAreNone(t *testing.T) {
	for _, s := range []string{
		``, `1`, `{}`, `[]`, `{"epoch":1,"seq":2}`, `{"epoch":1,"open":false}`, `{"seq":1,"open":false}`,
		`{"epoch":-1,"seq":2,"open":false}`, `{"epoch":1,"seq":2.5,"open":false}`, `{"epoch":1,"seq":4294967296,"open":false}`,
		`{"epoch":1,"seq":2,"open":"true"}`, `{"epoch":1,"seq":2,"open":false} {}`,
		`{"epoch":1,"seq":2,"open":true,"boot":"b","until_ms":5}`,
		`{"epoch":1,"seq":2,"open":true,"run":"r","until_ms":5}`,
		`{"epoch":1,"seq":2,"open":true,"run":"r","boot":"b"}`,
		`{"epoch":1,"seq":2,"open":false,"run":"` + strings.Repeat("r", 25) + `"}`,
		`{"epoch":1,"seq":2,"open":false,"x":"` + strings.Repeat("x", 256) + `"}`,
	} {
		_, err := decodeCommand(zones.Output{}, []byte(s))
		require.ErrorIs(t, err, errCommand, s)
	}
}
