package homiecheck

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const lampDescription = `{"homie":"5.0","version":1,"name":"Lamp","nodes":{"light":{"name":"Light","type":"x","properties":{
"power":{"name":"Power","datatype":"boolean","format":"off,on","settable":true},
"level":{"datatype":"integer","format":"0:100","unit":"%"},
"colour-mode":{"datatype":"enum","format":"warm,cold"},
"heat":{"datatype":"float","unit":"°C"},
"note":{"datatype":"string"},
"since":{"datatype":"datetime"},
"extra":{"datatype":"json"},
"flash":{"datatype":"duration","settable":true,"retained":false}}}}}`

// lamp is a device without a fault, made by hand from the convention's text.
func lamp() []Message {
	keep := func(topic, payload string) Message { return Message{"homie/5/lamp/" + topic, payload, true} }
	return []Message{
		keep("$state", "init"),
		keep("$description", lampDescription),
		keep("light/power", "true"),
		keep("light/power/$target", "true"),
		keep("light/level", "40"),
		keep("light/colour-mode", "warm"),
		keep("light/heat", "-21.5"),
		keep("light/note", "\x00"),
		keep("light/since", "2027-03-01T12:00:00Z"),
		keep("light/extra", `{"a":1}`),
		keep("light/heat", ""),
		keep("$alert/too-hot", "the lamp is hot"),
		keep("$state", "ready"),
		{"homie/5/lamp/light/flash", "PT5S", false},
		{"homie/5/lamp/light/power/set", "false", false},
		{"homie/5/other/x/y", "no business of ours", false},
	}
}

func TestAGoodDeviceHasNoFault(t *testing.T) {
	require.Empty(t, Check("homie", "lamp", lamp()))
}

// TestPlantedFaults breaks one rule at a time and wants it named.
func TestPlantedFaults(t *testing.T) {
	const root = "homie/5/lamp/"
	add := func(topic, payload string, retained bool) func([]Message) []Message {
		return func(ms []Message) []Message { return append(ms, Message{root + topic, payload, retained}) }
	}
	edit := func(old, new string) func([]Message) []Message {
		return func(ms []Message) []Message {
			if !strings.Contains(ms[1].Payload, old) {
				panic("the planted fault changes nothing: " + old)
			}
			ms[1].Payload = strings.Replace(ms[1].Payload, old, new, 1)
			return ms
		}
	}
	for _, c := range []struct {
		name  string
		plant func([]Message) []Message
		want  string
	}{
		{"upper case id", add("Light/power", "true", true), "only a-z"},
		{"underscore id", add("light/a_b", "true", true), "only a-z"},
		{"unknown state", add("$state", "alert", true), "none of init, ready"},
		{"state not retained", add("$state", "ready", false), "without the retained flag"},
		{"no state", func(ms []Message) []Message { return ms[1:12] }, "no $state"},
		{"no description", func(ms []Message) []Message { return ms[:1] }, "no $description"},
		{"ready too early", func(ms []Message) []Message { ms[0].Payload = "ready"; return ms }, "before any $description"},
		{"description not JSON", edit("{", ""), "no JSON object"},
		{"homie of another form", edit(`"5.0"`, `"5.0.0"`), "is due"},
		{"homie missing", edit(`"homie":"5.0",`, ``), "is due"},
		{"version a text", edit(`"version":1`, `"version":"1"`), "an integer is due"},
		{"version a fraction", edit(`"version":1`, `"version":1.5`), "an integer is due"},
		{"nodes a list", edit(`"nodes":{`, `"nodes":[],"x":{`), "an object is due"},
		{"name a number", edit(`"name":"Lamp"`, `"name":7`), "a string is due"},
		{"datatype missing", edit(`"datatype":"boolean",`, ``), "none of the convention's"},
		{"datatype unknown", edit(`"datatype":"float"`, `"datatype":"number"`), "none of the convention's"},
		{"enum without values", edit(`,"format":"warm,cold"`, ``), "needs its values"},
		{"enum with a value twice", edit(`warm,cold`, `warm,warm`), "a value twice"},
		{"boolean with three labels", edit(`off,on`, `off,on,dim`), "two labels"},
		{"range of another form", edit(`0:100`, `0-100`), "min:max"},
		{"settable a text", edit(`"settable":true`, `"settable":"yes"`), "true or false"},
		{"bad node id in description", edit(`"light":`, `"Light":`), "only a-z"},
		{"undeclared property", add("light/speed", "1", true), "not in the $description"},
		{"undeclared node", add("fan/speed", "1", true), "not in the $description"},
		{"value not retained", add("light/level", "41", false), "retained flag is false"},
		{"event retained", add("light/flash", "PT5S", true), "retained flag is true"},
		{"set retained", add("light/power/set", "true", true), "never retained"},
		{"set on a property that is not settable", add("light/level/set", "1", false), "not settable"},
		{"boolean in capitals", add("light/power", "TRUE", true), "none of true, false"},
		{"boolean by its label", add("light/power", "on", true), "none of true, false"},
		{"integer with a fraction", add("light/level", "4.5", true), "no integer"},
		{"integer with a plus", add("light/level", "+4", true), "no integer"},
		{"integer out of range", add("light/level", "101", true), "over 100"},
		{"integer under range", add("light/level", "-1", true), "under 0"},
		{"float NaN", add("light/heat", "NaN", true), "no float"},
		{"float infinite", add("light/heat", "Infinity", true), "no float"},
		{"float with a comma", add("light/heat", "21,5", true), "no float"},
		{"float with a unit", add("light/heat", "21.5 °C", true), "no float"},
		{"enum of another word", add("light/colour-mode", "Warm", true), "none of warm, cold"},
		{"string with a zero byte", add("light/note", "a\x00", true), "zero byte"},
		{"not UTF-8", add("light/note", "\xff", true), "not UTF-8"},
		{"datetime of another form", add("light/since", "01.03.2027 12:00", true), "no ISO 8601"},
		{"duration of another form", add("light/flash", "5s", false), "PTxHxMxS"},
		{"duration of nothing", add("light/flash", "PT", false), "PTxHxMxS"},
		{"json broken", add("light/extra", "{", true), "no JSON"},
		{"json a bare number", add("light/extra", "7", true), "object or array"},
		{"target not retained", add("light/power/$target", "true", false), "without the retained flag"},
		{"target of another datatype", add("light/power/$target", "1", true), "none of true, false"},
		{"unknown attribute", add("$nodes", "light", true), "no such attribute"},
		{"too deep", add("light/power/a/b", "1", true), "no such topic"},
		{"alert with a bad id", add("$alert/Too_hot", "x", true), "only a-z"},
		{"log retained", add("$log/info", "x", true), "never retained"},
		{"log of another level", add("$log/panic", "x", false), "no such log level"},
		{"changed while ready", add("$description", strings.Replace(lampDescription, `"version":1`, `"version":2`, 1), true), "while $state is ready"},
		{"changed without a new version", func(ms []Message) []Message {
			return append(ms, Message{root + "$state", "init", true}, Message{root + "$description", strings.Replace(lampDescription, "Lamp", "Torch", 1), true})
		}, "its version went from 1 to 1"},
		{"node gone, topics left", func(ms []Message) []Message {
			return append(ms, Message{root + "$state", "init", true}, Message{root + "$description", `{"homie":"5.0","version":2,"name":"Lamp"}`, true})
		}, "still stands"},
		{"bad device id", func(ms []Message) []Message {
			for i := range ms {
				ms[i].Topic = strings.Replace(ms[i].Topic, "/lamp/", "/lamp_1/", 1)
			}
			return ms
		}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			device, want := "lamp", c.want
			if want == "" {
				device, want = "lamp_1", "device id"
			}
			found := Check("homie", device, c.plant(lamp()))
			require.NotEmpty(t, found, "the fault was not seen")
			require.Contains(t, strings.Join(found, "\n"), want)
		})
	}
}
