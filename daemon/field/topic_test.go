package field_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/field"
	"rillgate/zones"
)

func TestParseTopic(t *testing.T) {
	long := strings.Repeat("a", 32)
	for topic, want := range map[string]field.Topic{
		"rillgate/bay-2/field/north/readings":             {Kind: field.ReadingsTopic, Controller: "north"},
		"rillgate/bay-2/field/north/report":               {Kind: field.ReportTopic, Controller: "north"},
		"rillgate/bay-2/field/north/status":               {Kind: field.StatusTopic, Controller: "north"},
		"rillgate/bay-2/field/north/input/tank-low":       {Kind: field.InputTopic, Controller: "north", Input: "tank-low"},
		"rillgate/bay-2/field/north/valve/12/command":     {Kind: field.CommandTopic, Controller: "north", Output: 12},
		"rillgate/bay-2/field/" + long + "/input/" + long: {Kind: field.InputTopic, Controller: long, Input: long},
		"rillgate/bay-2/field/readings/readings":          {Kind: field.ReadingsTopic, Controller: "readings"},
		"":                                                {},
		"rillgate":                                        {},
		"rillgate/bay-2":                                  {},
		"rillgate/bay-2/field":                            {},
		"rillgate/bay-2/field/north":                      {},
		"rillgate/bay-2/field/north/":                     {},
		"rillgate/bay-2/field//readings":                  {},
		"rillgate/bay-2/field/north/readings/":            {},
		"rillgate/bay-2/field/north/readings/x":           {},
		"/rillgate/bay-2/field/north/readings":            {},
		"rillgate/bay-3/field/north/readings":             {},
		"rillgate/bay-22/field/north/readings":            {},
		"rillgate/bay-2/Field/north/readings":             {},
		"rillgate/bay-2/field/North/readings":             {},
		"rillgate/bay-2/field/+/readings":                 {},
		"rillgate/bay-2/field/#":                          {},
		"rillgate/bay-2/field/nor th/readings":            {},
		"rillgate/bay-2/field/nörth/readings":             {},
		"rillgate/bay-2/field/north\x00/readings":         {},
		"rillgate/bay-2/field/" + long + "a/readings":     {},
		"rillgate/bay-2/field/north/input/":               {},
		"rillgate/bay-2/field/north/input/a/b":            {},
		"rillgate/bay-2/field/north/input/Tank":           {},
		"rillgate/bay-2/field/north/valve/0/command":      {},
		"rillgate/bay-2/field/north/valve/01/command":     {},
		"rillgate/bay-2/field/north/valve/-1/command":     {},
		"rillgate/bay-2/field/north/valve/10000/command":  {},
		"rillgate/bay-2/field/north/valve/1/command/x":    {},
		"rillgate/bay-2/field/north/valve//command":       {},
		"rillgate/bay-2/field/north/valve/command":        {},
		"rillgate/bay-2/gateway/echo":                     {},
	} {
		require.Equal(t, want, field.ParseTopic("bay-2", topic), topic)
	}
}

func TestTopicsThatAreBuiltAreParsed(t *testing.T) {
	o := zones.Output{Controller: "north", Number: 7}
	require.Equal(t, "rillgate/bay-2/field/north/valve/7/command", field.CommandTopicOf("bay-2", o))
	require.Equal(t, field.Topic{Kind: field.CommandTopic, Controller: "north", Output: 7},
		field.ParseTopic("bay-2", field.CommandTopicOf("bay-2", o)))
	require.Equal(t, "rillgate/bay-2/gateway/echo", field.EchoTopic("bay-2"))
}
