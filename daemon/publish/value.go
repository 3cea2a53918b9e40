package publish

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// pace says how often a value may be told.
type pace uint8

const (
	atOnce   pace = iota // states: on every change
	number               // on a change of minStep, at most once in minGap
	total                // as number, and never lower than before
	sentence             // at once when its key changed, else at most once in minGap
	moment               // an instant: at once, but not when only its second wavers
)

const (
	minStep = 0.1
	minGap  = 10 * time.Second
)

// value is what stands on a topic. An absent value is a zero-length retained
// message: the topic is removed.
type value struct {
	text string
	num  float64 // number, total; moment: Unix seconds
	key  string  // sentence
	pace pace
}

func (v value) absent() bool { return v.text == "" }

// gone is the value of a topic that must not stand.
var gone = value{}

// asText is a state in words. The convention writes an empty text as one zero byte,
// because a zero-length message deletes.
func asText(s string) value {
	s = clean(s)
	if s == "" {
		s = "\x00"
	}
	return value{text: s}
}

// asWord is a state in words, "none" when there is none.
func asWord(s string) value {
	if s == "" {
		s = "none"
	}
	return asText(s)
}

// asSentence is text with numbers in it that change often; a change of key makes it
// urgent.
func asSentence(s string, key ...string) value {
	v := asText(s)
	v.pace, v.key = sentence, strings.Join(key, "\x00")
	return v
}

// asEnum is gone unless the word is one that the format lists.
func asEnum(word, format string) value {
	if !slices.Contains(strings.Split(format, ","), word) {
		return gone
	}
	return value{text: word}
}

func asFlag(b bool) value { return value{text: strconv.FormatBool(b)} }

// asFloat is gone when x is nil or no finite number.
func asFloat(x *float64, decimals int) value {
	if x == nil || math.IsNaN(*x) || math.IsInf(*x, 0) {
		return gone
	}
	text := strconv.FormatFloat(*x, 'f', decimals, 64)
	if strings.Trim(text, "-0.") == "" {
		text = strings.TrimPrefix(text, "-")
	}
	return value{text: text, num: *x, pace: number}
}

func asInteger(n int64) value {
	return value{text: strconv.FormatInt(n, 10), num: float64(n), pace: number}
}

// asAge is whole seconds, gone when nil.
func asAge(n *int) value {
	if n == nil {
		return gone
	}
	return asInteger(int64(*n))
}

// asTotal marks a number that may only rise.
func asTotal(v value) value {
	if !v.absent() {
		v.pace = total
	}
	return v
}

// asTime is an instant in UTC, gone when nil.
func asTime(t *time.Time) value {
	if t == nil || t.IsZero() {
		return gone
	}
	at := t.UTC().Round(time.Second)
	return value{text: at.Format(time.RFC3339), num: float64(at.Unix()), pace: moment}
}

// clean keeps a text valid for MQTT: UTF-8 without zero bytes.
func clean(s string) string {
	if !utf8.ValidString(s) {
		s = strings.ToValidUTF8(s, "\uFFFD")
	}
	return strings.ReplaceAll(s, "\x00", "")
}

// told is what was last handed to the wire on a topic.
type told struct {
	value
	at time.Duration
}

// due reports whether v should be told now, when prev was told before.
func due(prev told, v value, now time.Duration) bool {
	if v.text == prev.text {
		return false
	}
	if v.absent() {
		return true
	}
	rested := now-prev.at >= minGap
	switch v.pace {
	case number:
		return rested && (prev.absent() || math.Abs(v.num-prev.num) >= minStep-1e-6)
	case total:
		return rested && (prev.absent() || v.num-prev.num >= minStep-1e-6)
	case sentence:
		return rested || prev.absent() || v.key != prev.key
	case moment:
		return prev.absent() || math.Abs(v.num-prev.num) > 1
	}
	return true
}
