package homiecheck

import (
	"encoding/json"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

var (
	integerForm  = regexp.MustCompile(`^-?[0-9]+$`)
	floatForm    = regexp.MustCompile(`^-?[0-9]+(\.[0-9]+)?([eE]-?[0-9]+)?$`)
	durationForm = regexp.MustCompile(`^PT([0-9]+H)?([0-9]+M)?([0-9]+S)?$`)
	rangeForm    = regexp.MustCompile(`^([-0-9.eE]*):([-0-9.eE]*)(:[-0-9.eE]+)?$`)
)

// formatFault says what is wrong with a property's format; "" when nothing is.
func (p *property) formatFault() string {
	parts := strings.Split(p.format, ",")
	switch p.datatype {
	case "enum":
		if p.format == "" {
			return "an enum needs its values"
		}
		return listFault(parts)
	case "boolean":
		if p.format != "" && len(parts) != 2 {
			return "two labels are due"
		}
	case "color":
		if p.format == "" {
			return "a color needs its format"
		}
	case "integer", "float":
		if p.format != "" && !rangeForm.MatchString(p.format) {
			return "min:max or min:max:step is due"
		}
	}
	return ""
}

func listFault(parts []string) string {
	sorted := slices.Sorted(slices.Values(parts))
	if slices.Contains(sorted, "") {
		return "an empty value"
	}
	if len(slices.Compact(sorted)) != len(parts) {
		return "a value twice"
	}
	return ""
}

// accepts says why a payload does not fit the property; "" when it does.
func (p *property) accepts(s string) string {
	if !utf8.ValidString(s) {
		return "not UTF-8"
	}
	switch p.datatype {
	case "integer":
		return integerFault(s, p.format)
	case "float":
		return floatFault(s, p.format)
	case "boolean":
		return oneOf(s, []string{"true", "false"})
	case "enum":
		return oneOf(s, strings.Split(p.format, ","))
	case "string":
		return stringFault(s)
	case "datetime":
		return datetimeFault(s)
	case "duration":
		if s == "PT" || !durationForm.MatchString(s) {
			return "PTxHxMxS is due"
		}
	case "json":
		var v any
		if json.Unmarshal([]byte(s), &v) != nil {
			return "no JSON"
		}
		switch v.(type) {
		case map[string]any, []any:
		default:
			return "a JSON object or array is due"
		}
	}
	return ""
}

func oneOf(s string, list []string) string {
	if !slices.Contains(list, s) {
		return "none of " + strings.Join(list, ", ")
	}
	return ""
}

func integerFault(s, format string) string {
	n, err := strconv.ParseInt(s, 10, 64)
	if err != nil || !integerForm.MatchString(s) {
		return "no integer"
	}
	return rangeFault(float64(n), format)
}

func floatFault(s, format string) string {
	x, err := strconv.ParseFloat(s, 64)
	if err != nil || !floatForm.MatchString(s) || math.IsInf(x, 0) {
		return "no float"
	}
	return rangeFault(x, format)
}

func rangeFault(x float64, format string) string {
	m := rangeForm.FindStringSubmatch(format)
	if m == nil {
		return ""
	}
	if lo, err := strconv.ParseFloat(m[1], 64); err == nil && x < lo {
		return "under " + m[1]
	}
	if hi, err := strconv.ParseFloat(m[2], 64); err == nil && x > hi {
		return "over " + m[2]
	}
	return ""
}

// stringFault: an empty string is written as one zero byte, and no other zero byte
// may stand.
func stringFault(s string) string {
	if s != "\x00" && strings.Contains(s, "\x00") {
		return "a zero byte inside"
	}
	return ""
}

func datetimeFault(s string) string {
	if _, err := time.Parse(time.RFC3339, s); err != nil {
		return "no ISO 8601 instant"
	}
	return ""
}
