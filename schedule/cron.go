package schedule

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/robfig/cron/v3"
)

// A spec is a cron expression that is read on the clock face: its zone is UTC and
// so is every face, so the library meets no daylight saving.
type spec struct{ schedule *cron.SpecSchedule }

// ParseCron checks a cron expression of five fields: minute, hour, day of month,
// month, weekday. The error says what would be right. With both a day of month and
// a weekday set, a day that matches either is due.
func ParseCron(expr string) error {
	s, err := parseCron(expr)
	if err != nil {
		return err
	}
	// From 2001 the five years that are searched hold a 29 February.
	if _, ok := s.next(time.Date(2001, 1, 1, 0, 0, 0, 0, time.UTC)); !ok {
		return fmt.Errorf("cron %q never comes due: none of its months has such a day; name a day of month that exists", expr)
	}
	return nil
}

// CronNext gives the first face after the given one at which the expression comes
// due; both are clock faces written as UTC. False: the expression is not valid, or
// nothing is due within five years.
func CronNext(expr string, face time.Time) (time.Time, bool) {
	s, err := parseCron(expr)
	if err != nil {
		return time.Time{}, false
	}
	return s.next(face.UTC())
}

// next gives the first due face after the given one. The library gives the zero
// time where it finds none in five years; asked again from there it would start
// over in year 1.
func (s spec) next(face time.Time) (time.Time, bool) {
	due := s.schedule.Next(face)
	return due, !due.IsZero()
}

// parseCron lets through only what the library reads as its writer meant it.
func parseCron(expr string) (spec, error) {
	if err := checkForm(expr); err != nil {
		return spec{}, fmt.Errorf("cron %q: %w", expr, err)
	}
	schedule, err := readCron(expr)
	if err != nil {
		return spec{}, fmt.Errorf("cron %q: %w", expr, wrongField(expr, err))
	}
	return spec{schedule}, nil
}

// readCron asks the library, which has been seen to panic on what it does not expect.
func readCron(expr string) (s *cron.SpecSchedule, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("%s: the parser gave up (%v)", fiveFields, r)
		}
	}()
	parsed, err := cron.NewParser(cron.Minute | cron.Hour | cron.Dom | cron.Month | cron.Dow).Parse(expr)
	if err != nil {
		return nil, err
	}
	s = parsed.(*cron.SpecSchedule)
	s.Location = time.UTC
	return s, nil
}

const fiveFields = `write five fields: minute, hour, day of month, month, weekday, such as "30 12 * * MON"`

// A cronField is what one of the five may hold.
type cronField struct {
	name  string
	right string
	count int // values, and so the longest step
}

func cronFields() [5]cronField {
	return [5]cronField{
		{"minute", "0 to 59", 60},
		{"hour", "0 to 23", 24},
		{"day of month", "1 to 31", 31},
		{"month", "1 to 12 or JAN to DEC", 12},
		{"weekday", "0 to 6 (0 is Sunday) or SUN to SAT", 7},
	}
}

// longestCron bounds the text; a list of all minutes has 170 characters.
const longestCron = 512

// checkForm finds what the library accepts but reads otherwise than meant.
func checkForm(expr string) error {
	switch {
	case strings.Contains(expr, "TZ="):
		return fmt.Errorf("a time zone is not for here: times are on the room's clock; set time_zone in room.yaml")
	case strings.Contains(expr, "@"):
		return fmt.Errorf("words with @ have no fixed place on the clock; %s", fiveFields)
	case len(expr) > longestCron:
		return fmt.Errorf("longer than %d characters; %s", longestCron, fiveFields)
	}
	texts := strings.Fields(expr)
	if len(texts) != 5 {
		return fmt.Errorf("%d fields; %s", len(texts), fiveFields)
	}
	for i, field := range cronFields() {
		for item := range strings.SplitSeq(texts[i], ",") {
			if err := field.checkItem(item); err != nil {
				return fmt.Errorf("%s %q: %w", field.name, texts[i], err)
			}
		}
	}
	return nil
}

// wrongField says which field the library refuses, by asking it for each alone.
func wrongField(expr string, err error) error {
	for i, text := range strings.Fields(expr) {
		alone := [5]string{"*", "*", "*", "*", "*"}
		alone[i] = text
		if _, err := readCron(strings.Join(alone[:], " ")); err != nil {
			f := cronFields()[i]
			return fmt.Errorf("%s %q: write %s, a list 1,2, a range 1-5 or a step */2", f.name, text, f.right)
		}
	}
	return err
}

func (f cronField) checkItem(item string) error {
	base, step, stepped := strings.Cut(item, "/")
	switch {
	case item == "":
		return fmt.Errorf("an empty place in the list never comes due; take the comma out")
	case strings.ContainsAny(base, "*?") && len(base) > 1:
		return fmt.Errorf("%q stands for every value and takes no range; write * or a range such as 1-5", base)
	case strings.Contains(item, "+"):
		return fmt.Errorf("write the number without a sign")
	}
	if n, err := strconv.Atoi(step); stepped && err == nil && n > f.count {
		return fmt.Errorf("a step of %d is longer than the field (%s) and starts over with it", n, f.right)
	}
	return nil
}
