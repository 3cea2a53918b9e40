package configs

import "strings"

// kind is what a value must be. The reader asks it for words and bounds, the JSON
// Schema for its form: both come from one table.
type kind interface {
	schema() map[string]any
	due() string // "a time", "a list"
}

// field is one key of a mapping.
type field struct {
	key  string
	kind kind
	need bool
	doc  string
}

// shape is a mapping with a fixed set of keys.
type shape struct {
	doc     string
	fields  []field
	example string
}

func (s *shape) due() string { return "a mapping (keys with values)" }

func (s *shape) field(key string) *field {
	for i := range s.fields {
		if s.fields[i].key == key {
			return &s.fields[i]
		}
	}
	return nil
}

// keys lists the keys that may be written, in order.
func (s *shape) keys() (out []string) {
	for _, f := range s.fields {
		if written(f.kind) {
			out = append(out, f.key)
		}
	}
	return out
}

// hint shows how such a mapping looks.
func (s *shape) hint() string {
	if s.example != "" {
		return "for example `" + s.example + "`"
	}
	return "its keys are " + strings.Join(s.keys(), ", ")
}

type (
	// listOf is a list of one kind.
	listOf struct {
		of  kind
		min int
	}
	// mapOf is a mapping from ids to one kind.
	mapOf struct{ of kind }
	// oneOf is a choice between kinds.
	oneOf []kind
	// ident is an id: a-z, 0-9 and -, 1 to 32 characters.
	ident struct{}
	// label is a text of one line.
	label struct{ max int }
	// word is one of a few words.
	word []string
	// integer and decimal are plain numbers.
	integer struct{ min, max int }
	decimal struct{ min, max string }
	// boolean is true or false.
	boolean struct{}
	// pattern is a text in a form of its own.
	pattern struct{ name, regexp, example string }
	// notBuilt is a key that this version knows but does not do.
	notBuilt struct{ what string }
	// refused is a key that people reach for and that has no place here.
	refused struct{ message, hint string }
)

func (listOf) due() string     { return "a list" }
func (mapOf) due() string      { return "a mapping (keys with values)" }
func (o oneOf) due() string    { return orList(dueWords(o)) }
func (ident) due() string      { return "an id" }
func (label) due() string      { return "a text" }
func (w word) due() string     { return "one of " + strings.Join(w, ", ") }
func (integer) due() string    { return "a whole number" }
func (decimal) due() string    { return "a number" }
func (boolean) due() string    { return "true or false" }
func (p pattern) due() string  { return p.name }
func (n notBuilt) due() string { return n.what }
func (r refused) due() string  { return r.message }

func (p pattern) hint() string { return "write it like " + p.example }

func dueWords(ks []kind) []string {
	out := make([]string, len(ks))
	for i, k := range ks {
		out[i] = k.due()
	}
	return out
}

// The texts with a form of their own.
var (
	clockText   = pattern{"a time of day in quotes", `^([01][0-9]|2[0-3]):[0-5][0-9]$`, `"06:00"`}
	dateText    = pattern{"a date", `^[0-9]{4}-[0-9]{2}-[0-9]{2}$`, `"2027-03-01"`}
	edgeText    = pattern{"a time of day in quotes, or lights_on or lights_off with an offset", `^(([01][0-9]|2[0-3]):[0-5][0-9]|lights_(on|off)( ?[+-] ?[0-9.]+ ?(s|min|h))?)$`, "lights_on + 1 h"}
	dayText     = pattern{"a day of the crop", `^(day|week) [0-9]+$`, "day 15 or week 3"}
	endText     = pattern{"a day of the crop", `^day [0-9]+$`, "day 70"}
	cronText    = pattern{"a cron expression in quotes", `^[^ ]+( +[^ ]+){4}$`, `"30 12 * * MON"`}
	addressText = pattern{"one character in quotes", `^[0-9A-Za-z]$`, `"0"`}
	zoneText    = pattern{"a name of the time zone database", `^[A-Za-z0-9_+/-]+$`, "America/Chicago"}
	spanText    = pattern{"two moistures", `^[0-9.]+ ?% to [0-9.]+ ?%$`, "2 % to 95 %"}
	brokerText  = pattern{"a broker's URL", `^mqtts?://[^/@]+$`, `"mqtt://127.0.0.1:1883"`}
	listenText  = pattern{"an address and a port", `^.+:[0-9]+$`, "127.0.0.1:8480"}
	pathText    = pattern{"an absolute path", `^/.+$`, "/etc/rillgate/mqtt.password"}
	topicText   = pattern{"a topic without wildcards", `^[A-Za-z0-9_-]+(/[A-Za-z0-9_-]+)*$`, "homie"}
)
