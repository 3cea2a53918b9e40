package configs

import (
	"encoding/json"
	"fmt"
	"maps"
	"strings"
)

// Schema gives the JSON Schema (draft 2020-12) of a file: ROOM, SCHEDULE or GATEWAY,
// in any case. It comes from the tables that the reader goes by; what the checks
// compare across values is beyond it.
func Schema(which string) ([]byte, error) {
	sh, title := schemaOf(which)
	if sh == nil {
		return nil, fmt.Errorf("write schema %q: name ROOM, SCHEDULE or GATEWAY", which)
	}
	root := map[string]any{"$schema": "https://json-schema.org/draft/2020-12/schema", "title": title}
	maps.Copy(root, sh.schema())
	out, err := json.MarshalIndent(root, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("write schema %s: %w", which, err)
	}
	return append(out, '\n'), nil
}

func schemaOf(which string) (*shape, string) {
	switch strings.ToUpper(which) {
	case "ROOM":
		return roomShape, RoomFile
	case "SCHEDULE":
		return scheduleShape, ScheduleFile
	case "GATEWAY":
		return gatewayShape, GatewayFile
	}
	return nil, ""
}

func (s *shape) schema() map[string]any {
	properties, required := map[string]any{}, []string{}
	for _, f := range s.fields {
		if !written(f.kind) {
			continue
		}
		p := f.kind.schema()
		p["description"] = f.doc
		properties[f.key] = p
		if f.need {
			required = append(required, f.key)
		}
	}
	out := map[string]any{"type": "object", "description": s.doc, "properties": properties, "additionalProperties": false}
	if len(required) > 0 {
		out["required"] = required
	}
	return out
}

// written reports whether a key may stand in a file at all.
func written(k kind) bool {
	switch k.(type) {
	case notBuilt, refused:
		return false
	}
	return true
}

func (l listOf) schema() map[string]any {
	out := map[string]any{"type": "array", "items": l.of.schema()}
	if l.min > 0 {
		out["minItems"] = l.min
	}
	return out
}

func (m mapOf) schema() map[string]any {
	return map[string]any{"type": "object", "propertyNames": ident{}.schema(), "additionalProperties": m.of.schema()}
}

func (o oneOf) schema() map[string]any {
	alternatives := make([]any, len(o))
	for i, k := range o {
		alternatives[i] = k.schema()
	}
	return map[string]any{"anyOf": alternatives}
}

func (q quantity) schema() map[string]any {
	var names []string
	for _, l := range q.limits {
		names = append(names, unitsOf(l.dim)...)
	}
	form := `^[0-9]*\.?[0-9]+ ?(` + strings.Join(names, "|") + `)$`
	return map[string]any{"type": "string", "pattern": form, "examples": []string{q.example}}
}

// A text that holds only digits is a number to YAML: both are let through.
func (ident) schema() map[string]any {
	return map[string]any{"type": []string{"string", "integer"}, "pattern": identForm.String()}
}

func (l label) schema() map[string]any {
	return map[string]any{"type": []string{"string", "number"}, "minLength": 1, "maxLength": l.max}
}

func (w word) schema() map[string]any { return map[string]any{"enum": []string(w)} }

func (i integer) schema() map[string]any {
	return map[string]any{"type": "integer", "minimum": i.min, "maximum": i.max}
}

func (d decimal) schema() map[string]any {
	return map[string]any{"type": "number", "minimum": json.Number(d.min), "maximum": json.Number(d.max)}
}

func (boolean) schema() map[string]any { return map[string]any{"type": "boolean"} }

func (p pattern) schema() map[string]any {
	return map[string]any{"type": "string", "pattern": p.regexp, "examples": []string{strings.Trim(p.example, `"`)}}
}

func (notBuilt) schema() map[string]any { return map[string]any{"not": map[string]any{}} }

func (refused) schema() map[string]any { return map[string]any{"not": map[string]any{}} }
