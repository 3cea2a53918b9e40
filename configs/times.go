package configs

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"go.yaml.in/yaml/v4"

	"rillgate/schedule"
)

func quoted(n *yaml.Node) bool {
	return n.Style&(yaml.SingleQuotedStyle|yaml.DoubleQuotedStyle) != 0
}

var (
	clockForm = regexp.MustCompile(clockText.regexp)
	looseForm = regexp.MustCompile(`^([0-9]{1,2}):([0-9]{2})(:[0-9]{2})?( ?[aApP]\.?[mM]\.?)?$`)
	dateForm  = regexp.MustCompile(dateText.regexp)
	cropForm  = regexp.MustCompile(`^(day|week) ([0-9]{1,4})$`)
)

// parseClock reads "06:00" into an offset from midnight. Unquoted it is refused:
// some YAML readers take 06:00 for a number of minutes.
func parseClock(n *yaml.Node, _ kind) (time.Duration, *fault) {
	v := n.Value
	switch {
	case clockForm.MatchString(v) && quoted(n):
		h, _ := strconv.Atoi(v[:2])
		m, _ := strconv.Atoi(v[3:])
		return time.Duration(h)*time.Hour + time.Duration(m)*time.Minute, nil
	case clockForm.MatchString(v):
		return 0, &fault{CodeText, fmt.Sprintf("the time of day `%s` stands without quotes", v), fmt.Sprintf("put it in quotes: \"%s\"", v)}
	}
	return 0, &fault{CodeText, fmt.Sprintf("`%s` is no time of day", shorten(v)), clockHint(v)}
}

func clockHint(v string) string {
	m := looseForm.FindStringSubmatch(v)
	if m == nil {
		return `times of day run from "00:00" to "23:59", in quotes`
	}
	h, _ := strconv.Atoi(m[1])
	suffix := strings.ToLower(m[4])
	switch {
	case strings.Contains(suffix, "p") && h < 12:
		h += 12
	case strings.Contains(suffix, "a") && h == 12, h == 24 && m[2] == "00":
		h = 0
	}
	if right := fmt.Sprintf("%02d:%s", h, m[2]); clockForm.MatchString(right) {
		return fmt.Sprintf("write \"%s\"", right)
	}
	return `times of day run from "00:00" to "23:59", in quotes`
}

func (t *table) clock(key string) item[time.Duration] { return read(t, key, parseClock) }

// edgeOffset bounds an offset from the lights.
var edgeOffset = amount(timeSpan, "0 s", "24 h", "1 h")

// parseEdge reads "06:00", lights_on, or lights_off - 30 min.
func parseEdge(n *yaml.Node, k kind) (schedule.Edge, *fault) {
	v := strings.TrimSpace(n.Value)
	anchor, rest, ok := cutAnchor(v)
	if !ok {
		if meant := nearestAnchor(v); meant != "" {
			return schedule.Edge{}, &fault{CodeText, fmt.Sprintf("`%s` is no edge of a window", shorten(v)), "did you mean `" + meant + "`?"}
		}
		if strings.HasPrefix(v, "light") {
			return schedule.Edge{}, &fault{CodeText, fmt.Sprintf("`%s` is no edge of a window", shorten(v)), "write lights_on or lights_off, with an offset where one is due: lights_on + 1 h"}
		}
		at, f := parseClock(n, k)
		return schedule.Edge{Anchor: schedule.AtClock, Offset: at}, f
	}
	if rest == "" {
		return schedule.Edge{Anchor: anchor}, nil
	}
	sign := time.Duration(1)
	switch rest[0] {
	case '-':
		sign = -1
	case '+':
	default:
		return schedule.Edge{}, &fault{CodeText, fmt.Sprintf("`%s` is no edge of a window", shorten(v)), "an offset begins with + or -: lights_on + 1 h"}
	}
	m, f := edgeOffset.read(strings.TrimSpace(rest[1:]))
	if f != nil {
		return schedule.Edge{}, f
	}
	return schedule.Edge{Anchor: anchor, Offset: sign * m.duration()}, wholeSeconds(m.duration())
}

// nearestAnchor puts the anchor that was meant in the place of a word that is no
// anchor; "" when it is near neither, or as near to both.
func nearestAnchor(v string) string {
	end := strings.IndexAny(v, "+-")
	if end < 0 {
		end = len(v)
	}
	word := strings.ToLower(strings.TrimSpace(v[:end]))
	on, off := editDistance(word, "lights_on"), editDistance(word, "lights_off")
	switch {
	case on < off && on <= 2:
		return strings.TrimSpace("lights_on " + v[end:])
	case off < on && off <= 2:
		return strings.TrimSpace("lights_off " + v[end:])
	}
	return ""
}

func cutAnchor(v string) (a schedule.Anchor, rest string, ok bool) {
	for name, anchor := range map[string]schedule.Anchor{"lights_on": schedule.LightsOn, "lights_off": schedule.LightsOff} {
		if rest, ok := strings.CutPrefix(v, name); ok {
			return anchor, strings.TrimSpace(rest), true
		}
	}
	return 0, "", false
}

func wholeSeconds(d time.Duration) *fault {
	if d%time.Second == 0 {
		return nil
	}
	return &fault{CodeRange, "an offset from the lights is in whole seconds", "round it"}
}

func (t *table) edge(key string) item[schedule.Edge] { return read(t, key, parseEdge) }

// parseDate reads 2027-03-01.
func parseDate(n *yaml.Node, _ kind) (schedule.Date, *fault) {
	v := n.Value
	if !dateForm.MatchString(v) {
		return schedule.Date{}, &fault{CodeText, fmt.Sprintf("`%s` is no date", shorten(v)), `write year, month and day: "2027-03-01"`}
	}
	at, err := time.Parse(time.DateOnly, v)
	if err != nil {
		return schedule.Date{}, &fault{CodeText, fmt.Sprintf("`%s` is not in the calendar", v), "see how many days the month has"}
	}
	if at.Year() < 2020 || at.Year() > 2199 {
		return schedule.Date{}, &fault{CodeRange, fmt.Sprintf("the year %d is out of range", at.Year()), "write a year from 2020 to 2199"}
	}
	return schedule.Date{Year: at.Year(), Month: at.Month(), Day: at.Day()}, nil
}

func (t *table) date(key string) item[schedule.Date] { return read(t, key, parseDate) }

// maxCropDays bounds a crop.
const maxCropDays = 1000

// parseCropDay reads `day 15`, or `week 3`, which is day 15.
func parseCropDay(n *yaml.Node, k kind) (int, *fault) {
	p, _ := k.(pattern)
	m := cropForm.FindStringSubmatch(n.Value)
	if m == nil {
		return 0, &fault{CodeText, fmt.Sprintf("`%s` is no day of a crop", shorten(n.Value)), "write it like " + p.example}
	}
	day, _ := strconv.Atoi(m[2])
	if m[1] == "week" {
		if p == endText {
			return 0, &fault{CodeText, fmt.Sprintf("`%s` is a whole week: the last day is due", n.Value), fmt.Sprintf("write the last day with water: day %d", day*7)}
		}
		day = (day-1)*7 + 1
	}
	if day < 1 || day > maxCropDays {
		return 0, &fault{CodeRange, fmt.Sprintf("`%s` is out of range", n.Value), fmt.Sprintf("days count from 1, up to %d", maxCropDays)}
	}
	return day, nil
}

func (t *table) cropDay(key string) item[int] { return read(t, key, parseCropDay) }
