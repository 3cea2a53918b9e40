package configs

import (
	"encoding/json"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v4"
)

// TestSchemasTakeTheExamples reads the schemas with a small reader of its own: each
// example must fit, and a key too many or a bad value must not.
func TestSchemasTakeTheExamples(t *testing.T) {
	for which, name := range map[string]string{"ROOM": RoomFile, "schedule": ScheduleFile, "Gateway": GatewayFile} {
		schema := readSchema(t, which)
		require.Equal(t, "https://json-schema.org/draft/2020-12/schema", schema["$schema"])
		for _, room := range []string{ExampleBay, ExampleDemo} {
			var doc any
			require.NoError(t, yaml.Unmarshal(Example(room+"/"+name), &doc))
			require.NoError(t, fits(schema, doc, room+"/"+name))
			doc.(map[string]any)["colour"] = "green"
			require.Error(t, fits(schema, doc, name))
		}
	}
}

func TestSchemaRefusesBadValues(t *testing.T) {
	gateway := readSchema(t, "GATEWAY")
	for _, text := range []string{
		"lease: 30 s", "mqtt: {broker: 3}", `{mqtt: {broker: "mqtt://x"}, lease: 30}`, `{mqtt: {broker: "mqtt://x"}, lease: 30 L}`,
		`{mqtt: {broker: "mqtt://x", password: y}}`, `{mqtt: {broker: "mqtt://x"}, clock: {trust: ntp}}`, `{mqtt: {broker: "mqtt://x"}, sources: []}`,
	} {
		var doc any
		require.NoError(t, yaml.Unmarshal([]byte(text), &doc))
		require.Error(t, fits(gateway, doc, text), text)
	}
}

func TestSchemaOfNothing(t *testing.T) {
	_, err := Schema("garden")
	require.EqualError(t, err, `write schema "garden": name ROOM, SCHEDULE or GATEWAY`)
}

func readSchema(t *testing.T, which string) map[string]any {
	t.Helper()
	text, err := Schema(which)
	require.NoError(t, err)
	var schema map[string]any
	require.NoError(t, json.Unmarshal(text, &schema))
	return schema
}

type misfit string

func (m misfit) Error() string { return string(m) }

// fits asks the words of JSON Schema that are used here.
func fits(s map[string]any, v any, at string) error {
	if choices, ok := s["anyOf"].([]any); ok {
		for _, a := range choices {
			if fits(a.(map[string]any), v, at) == nil {
				return nil
			}
		}
		return misfit(at + ": none of the choices")
	}
	if words, ok := s["enum"].([]any); ok {
		for _, w := range words {
			if w == v {
				return nil
			}
		}
		return misfit(at + ": not one of the words")
	}
	switch v := v.(type) {
	case map[string]any:
		return fitsObject(s, v, at)
	case []any:
		if s["type"] != "array" {
			return misfit(at + ": a list")
		}
		for _, e := range v {
			if err := fits(s["items"].(map[string]any), e, at+"[]"); err != nil {
				return err
			}
		}
		return nil
	case string:
		if !typed(s, "string") {
			return misfit(at + ": a text")
		}
		if p, ok := s["pattern"].(string); ok && !regexp.MustCompile(p).MatchString(v) {
			return misfit(at + ": not like " + p)
		}
		return nil
	case bool:
		if !typed(s, "boolean") {
			return misfit(at + ": a boolean")
		}
		return nil
	}
	if !typed(s, "integer") && !typed(s, "number") {
		return misfit(at + ": a number")
	}
	return nil
}

func typed(s map[string]any, name string) bool {
	if list, ok := s["type"].([]any); ok {
		for _, t := range list {
			if t == name {
				return true
			}
		}
	}
	return s["type"] == name
}

func fitsObject(s, v map[string]any, at string) error {
	if s["type"] != "object" {
		return misfit(at + ": a mapping")
	}
	properties, _ := s["properties"].(map[string]any)
	for key, value := range v {
		sub, known := properties[key].(map[string]any)
		if !known {
			sub, known = s["additionalProperties"].(map[string]any)
		}
		if !known {
			return misfit(at + ": the key " + key)
		}
		if err := fits(sub, value, at+"."+key); err != nil {
			return err
		}
	}
	required, _ := s["required"].([]any)
	for _, key := range required {
		if _, there := v[key.(string)]; !there {
			return misfit(at + ": no " + key.(string))
		}
	}
	return nil
}
