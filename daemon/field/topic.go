package field

import (
	"strconv"
	"strings"

	"rillgate/zones"
)

// Kind says what a field topic carries.
type Kind uint8

// The kinds of field topic.
const (
	OtherTopic Kind = iota
	ReadingsTopic
	ReportTopic
	StatusTopic
	InputTopic
	CommandTopic
)

// Topic is a field topic taken apart.
type Topic struct {
	Kind       Kind
	Controller string
	Input      string // of an InputTopic
	Output     int    // of a CommandTopic
}

// maxOutput bounds an output's number, maxTerminal a terminal's.
const (
	maxOutput   = 9999
	maxTerminal = 9999
)

// fieldRoot gives "rillgate/<room>/field/".
func fieldRoot(room string) string { return "rillgate/" + room + "/field/" }

// EchoTopic gives the topic on which the gateway hears itself.
func EchoTopic(room string) string { return "rillgate/" + room + "/gateway/echo" }

// commandFilter gives the filter for every command of a room.
func commandFilter(room string) string { return fieldRoot(room) + "+/valve/+/command" }

// CommandTopicOf gives the topic on which an output takes its commands.
func CommandTopicOf(room string, o zones.Output) string {
	return fieldRoot(room) + o.Controller + "/valve/" + strconv.Itoa(o.Number) + "/command"
}

// ParseTopic takes a field topic of a room apart, by the exact count of its
// segments and the rules for ids. Every other topic is an OtherTopic.
func ParseTopic(room, topic string) Topic {
	rest, ok := strings.CutPrefix(topic, "rillgate/")
	if !ok {
		return Topic{}
	}
	if rest, ok = strings.CutPrefix(rest, room); !ok {
		return Topic{}
	}
	if rest, ok = strings.CutPrefix(rest, "/field/"); !ok {
		return Topic{}
	}
	controller, rest, ok := strings.Cut(rest, "/")
	if !ok || !ValidID(controller) {
		return Topic{}
	}
	return parseLeaf(controller, rest)
}

func parseLeaf(controller, rest string) Topic {
	switch rest {
	case "readings":
		return Topic{Kind: ReadingsTopic, Controller: controller}
	case "report":
		return Topic{Kind: ReportTopic, Controller: controller}
	case "status":
		return Topic{Kind: StatusTopic, Controller: controller}
	}
	if id, ok := strings.CutPrefix(rest, "input/"); ok && ValidID(id) {
		return Topic{Kind: InputTopic, Controller: controller, Input: id}
	}
	if valve, ok := strings.CutPrefix(rest, "valve/"); ok {
		if number, ok := strings.CutSuffix(valve, "/command"); ok {
			if n, ok := plainNumber(number, maxOutput); ok {
				return Topic{Kind: CommandTopic, Controller: controller, Output: n}
			}
		}
	}
	return Topic{}
}

// ValidID reports whether s is an id: 1 to 32 of a-z, 0-9 and '-'.
func ValidID(s string) bool {
	if len(s) == 0 || len(s) > 32 {
		return false
	}
	for i := range len(s) {
		c := s[i]
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' {
			return false
		}
	}
	return true
}

// plainNumber reads a number from 1 to most, written without sign or leading zero.
func plainNumber[T string | []byte](s T, most int) (int, bool) {
	if len(s) == 0 || len(s) > 5 || s[0] == '0' {
		return 0, false
	}
	n := 0
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return 0, false
		}
		n = n*10 + int(s[i]-'0')
	}
	return n, n <= most
}

// matches reports whether a topic falls under a filter with + and #
// (MQTT 3.1.1, section 4.7).
func matches(filter, topic string) bool {
	for {
		f, restF, moreF := strings.Cut(filter, "/")
		if f == "#" {
			return true
		}
		t, restT, moreT := strings.Cut(topic, "/")
		if f != "+" && f != t {
			return false
		}
		if !moreF || !moreT {
			return moreF == moreT || moreF && restF == "#"
		}
		filter, topic = restF, restT
	}
}
