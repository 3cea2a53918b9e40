package schedule

import (
	"fmt"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // the tests run on machines without a zone database too

	"github.com/stretchr/testify/require"
)

const hour, minute = time.Hour, time.Minute

// zoneOf loads a time zone.
func zoneOf(t testing.TB, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	require.NoError(t, err)
	return loc
}

// usual is a calendar with lights from 06:00 to 18:00.
func usual(t testing.TB, zone string) *Calendar {
	return &Calendar{Location: zoneOf(t, zone), Days: []Day{{On: 6 * hour, Off: 18 * hour}}}
}

// instant reads RFC 3339.
func instant(t testing.TB, text string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339, text)
	require.NoError(t, err)
	return at
}

// clock gives the edge at a time of day, such as 06:00 or 24:00.
func clock(text string) Edge {
	var h, m int
	if _, err := fmt.Sscanf(text, "%d:%d", &h, &m); err != nil {
		panic(err)
	}
	return Edge{AtClock, time.Duration(h)*hour + time.Duration(m)*minute}
}

func on(offset time.Duration) Edge  { return Edge{LightsOn, offset} }
func off(offset time.Duration) Edge { return Edge{LightsOff, offset} }

// daily gives a window by clock, "22:00-02:00".
func daily(name, span string) Window {
	from, until, _ := strings.Cut(span, "-")
	return Window{Name: name, From: clock(from), Until: clock(until), Below: 40 * Percent}
}

func dated(name, cron string, length time.Duration) Window {
	return Window{Name: name, Cron: cron, For: length}
}

func only(windows ...Window) *Zone { return &Zone{Named: true, Routine: "only", Windows: windows} }

// line writes an instance as "<id> <start> <end>" in UTC.
func line(in Instance) string {
	const form = "2006-01-02T15:04:05Z"
	return in.ID + " " + in.Start.UTC().Format(form) + " " + in.End.UTC().Format(form)
}

func lines(all []Instance) (text []string) {
	for _, in := range all {
		text = append(text, line(in))
	}
	return text
}
