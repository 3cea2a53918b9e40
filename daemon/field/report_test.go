package field_test

import (
	"fmt"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/field"
	"rillgate/zones"
)

func itoa(n int) string { return strconv.Itoa(n) }

func TestDecodeReport(t *testing.T) {
	r, f := field.DecodeReport("north", []byte(`{"boot":"9f31c2","uptime_ms":8123456,"epoch":12,"seq":345,`+
		`"outputs":{"2":{"open":false},"1":{"open":true,"run":"r-51","flow_lpm":6.7}}}`))
	require.Nil(t, f)
	require.Equal(t, &zones.Report{
		Controller: "north", Boot: "9f31c2", Uptime: 8123456 * time.Millisecond, Epoch: 12, Seq: 345,
		Outputs: []zones.OutputReport{
			{Number: 1, Open: true, Run: "r-51", FlowLPM: 6.7},
			{Number: 2, FlowLPM: -1},
		},
	}, r)
}

func TestDecodeReportTakesWhatSendersWrite(t *testing.T) {
	for _, payload := range []string{
		`{"boot":"1","uptime_ms":0,"epoch":0,"seq":0,"outputs":{}}`,
		`{"boot":"a-B_9.:","uptime_ms":3153600000000,"epoch":2147483647,"seq":2147483647,"outputs":{}}`,
		`{"boot":"1","uptime_ms":12.0,"epoch":1e1,"seq":0,"outputs":{"9999":{"open":true,"run":null,"flow_lpm":null}}}`,
		`{"boot":"1","uptime_ms":1,"epoch":0,"seq":0,"outputs":{"1":{"open":true,"run":"","amps":[0.2]}},"firmware":{"name":"x"}}`,
		" {\n\"outputs\" : { } , \"seq\":0,\"epoch\":0,\"uptime_ms\":1,\"boot\":\"1\"}\t",
	} {
		_, f := field.DecodeReport("north", []byte(payload))
		require.Nil(t, f, payload)
	}
}

func TestDecodeReportRefuses(t *testing.T) {
	report := func(boot, uptime, epoch, seq, outputs string) string {
		return fmt.Sprintf(`{"boot":%s,"uptime_ms":%s,"epoch":%s,"seq":%s,"outputs":%s}`, boot, uptime, epoch, seq, outputs)
	}
	var many strings.Builder
	for i := range 257 {
		fmt.Fprintf(&many, `,"%d":{"open":false}`, i+1)
	}
	for payload, cause := range map[string]string{
		``:   "json",
		`[]`: "json",
		`{}`: "report",
		`{"uptime_ms":1,"epoch":1,"seq":1,"outputs":{}}`:                                        "report",
		`{"boot":"1","epoch":1,"seq":1,"outputs":{}}`:                                           "report",
		`{"boot":"1","uptime_ms":1,"seq":1,"outputs":{}}`:                                       "report",
		`{"boot":"1","uptime_ms":1,"epoch":1,"outputs":{}}`:                                     "report",
		`{"boot":"1","uptime_ms":1,"epoch":1,"seq":1}`:                                          "report",
		report(`"1"`, "1", "1", "1", "{}") + "x":                                                "json",
		report(`""`, "1", "1", "1", "{}"):                                                       "report",
		report(`7`, "1", "1", "1", "{}"):                                                        "report",
		report(`null`, "1", "1", "1", "{}"):                                                     "report",
		report(`"a b"`, "1", "1", "1", "{}"):                                                    "report",
		report(`"`+strings.Repeat("a", 33)+`"`, "1", "1", "1", "{}"):                            "report",
		report(`"1"`, "-1", "1", "1", "{}"):                                                     "report",
		report(`"1"`, "1.5", "1", "1", "{}"):                                                    "report",
		report(`"1"`, `"1"`, "1", "1", "{}"):                                                    "report",
		report(`"1"`, "1e400", "1", "1", "{}"):                                                  "report",
		report(`"1"`, "1e18", "1", "1", "{}"):                                                   "report",
		report(`"1"`, "3153600000001", "1", "1", "{}"):                                          "report",
		report(`"1"`, "1", "2147483648", "1", "{}"):                                             "report",
		report(`"1"`, "1", "1", "-1", "{}"):                                                     "report",
		report(`"1"`, "1", "1", "1", "[]"):                                                      "json",
		report(`"1"`, "1", "1", "1", `{"0":{"open":true}}`):                                     "report",
		report(`"1"`, "1", "1", "1", `{"01":{"open":true}}`):                                    "report",
		report(`"1"`, "1", "1", "1", `{"a":{"open":true}}`):                                     "report",
		report(`"1"`, "1", "1", "1", `{"1":{}}`):                                                "report",
		report(`"1"`, "1", "1", "1", `{"1":{"open":1}}`):                                        "report",
		report(`"1"`, "1", "1", "1", `{"1":{"open":null}}`):                                     "report",
		report(`"1"`, "1", "1", "1", `{"1":true}`):                                              "json",
		report(`"1"`, "1", "1", "1", `{"1":{"open":true,"flow_lpm":-1}}`):                       "report",
		report(`"1"`, "1", "1", "1", `{"1":{"open":true,"flow_lpm":1e999}}`):                    "report",
		report(`"1"`, "1", "1", "1", `{"1":{"open":true,"flow_lpm":NaN}}`):                      "json",
		report(`"1"`, "1", "1", "1", `{"1":{"open":true,"run":"`+strings.Repeat("r", 25)+`"}}`): "report",
		report(`"1"`, "1", "1", "1", `{"1":{"open":true},"1":{"open":false}}`):                  "duplicate-key",
		report(`"1"`, "1", "1", "1", `{"1":{"open":true,"open":false}}`):                        "duplicate-key",
		`{"boot":"1","boot":"2","uptime_ms":1,"epoch":1,"seq":1,"outputs":{}}`:                  "duplicate-key",
		report(`"1"`, "1", "1", "1", "{"+many.String()[1:]+"}"):                                 "too-many",
		strings.Repeat(" ", field.MaxPayload+1):                                                 "too-long",
	} {
		r, f := field.DecodeReport("north", []byte(payload))
		require.NotNil(t, f, payload)
		require.Nil(t, r, payload)
		require.Equal(t, cause, f.Cause, payload)
	}
}

func TestDecodeStatus(t *testing.T) {
	s, f := field.DecodeStatus("north", []byte("online"))
	require.Nil(t, f)
	require.Equal(t, &zones.Status{Controller: "north", Online: true}, s)
	s, f = field.DecodeStatus("north", []byte("offline"))
	require.Nil(t, f)
	require.Equal(t, &zones.Status{Controller: "north"}, s)
	for _, payload := range []string{"", "ONLINE", `"online"`, "online\n", " online", "1", "\xff"} {
		_, f = field.DecodeStatus("north", []byte(payload))
		require.NotNil(t, f, payload)
		require.Equal(t, "status", f.Cause)
	}
}

func TestDecodeInput(t *testing.T) {
	in, f := field.DecodeInput("north", "tank-low", []byte(`{"active":true,"since":"x"}`))
	require.Nil(t, f)
	require.Equal(t, &zones.InputState{Controller: "north", ID: "tank-low", Active: true}, in)
	for payload, cause := range map[string]string{
		``: "json", `true`: "json", `{}`: "input", `{"active":1}`: "input", `{"active":null}`: "input",
		`{"active":"true"}`: "input", `{"active":true,"active":false}`: "duplicate-key", `{"active":true}}`: "json",
	} {
		_, f = field.DecodeInput("north", "tank-low", []byte(payload))
		require.NotNil(t, f, payload)
		require.Equal(t, cause, f.Cause, payload)
	}
}

func TestEncodeCommand(t *testing.T) {
	c := zones.Command{Epoch: 12, Seq: 345, Run: "r-51", Open: true, Boot: "9f31c2", UntilMS: 8153456}
	require.Equal(t, `{"epoch":12,"seq":345,"run":"r-51","open":true,"boot":"9f31c2","until_ms":8153456}`, string(field.EncodeCommand(&c)))
	c = zones.Command{Epoch: 12, Seq: 346, Run: "r-51", Boot: "left out", UntilMS: 1}
	require.Equal(t, `{"epoch":12,"seq":346,"run":"r-51","open":false}`, string(field.EncodeCommand(&c)))
	c = zones.Command{
		Epoch: 1<<31 - 1, Seq: 1<<31 - 1, Run: strings.Repeat("r", 24), Open: true,
		Boot: strings.Repeat("b", 32), UntilMS: 1<<63 - 1,
	}
	require.LessOrEqual(t, len(field.EncodeCommand(&c)), field.MaxCommand)
	require.JSONEq(t, `{"epoch":1,"seq":1,"run":"ab","open":false}`,
		string(field.EncodeCommand(&zones.Command{Epoch: 1, Seq: 1, Run: `a"b\`})))
}
