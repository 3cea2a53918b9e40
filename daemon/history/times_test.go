package history

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func place(t *testing.T, name string) *time.Location {
	loc, err := time.LoadLocation(name)
	require.NoError(t, err)
	return loc
}

// The changes are those of the time-zone database (zdump -v of tzdata 2025b): Europe/Berlin
// goes to +02 at 2027-03-28T01:00:00Z and back at 2027-10-31T01:00:00Z; Africa/Cairo goes
// to +03 at 2025-04-24T22:00:00Z, at its midnight, and back at 2025-10-30T21:00:00Z, at the
// end of the hour before it.
func TestSpan(t *testing.T) {
	berlin, cairo := place(t, "Europe/Berlin"), place(t, "Africa/Cairo")
	now := time.Date(2027, 3, 28, 10, 30, 0, 0, time.UTC)
	for _, c := range []struct {
		name     string
		ask      Ask
		loc      *time.Location
		from, to string
	}{
		{"nothing said", Ask{}, berlin, "2027-03-27T10:30:00Z", "2027-03-28T10:30:00Z"},
		{"a picture", Ask{Picture: AsSVG}, berlin, "2027-03-25T10:30:00Z", "2027-03-28T10:30:00Z"},
		{"a day of 23 hours", Ask{From: "2027-03-28", To: "2027-03-28"}, berlin, "2027-03-27T23:00:00Z", "2027-03-28T22:00:00Z"},
		{"a day of 25 hours", Ask{From: "2027-10-31", To: "2027-10-31"}, berlin, "2027-10-30T22:00:00Z", "2027-10-31T23:00:00Z"},
		{"today", Ask{From: "today"}, berlin, "2027-03-27T23:00:00Z", "2027-03-28T10:30:00Z"},
		{"yesterday", Ask{From: "yesterday", To: "yesterday"}, berlin, "2027-03-26T23:00:00Z", "2027-03-27T23:00:00Z"},
		{"a clock", Ask{From: "2027-03-28 03:00", To: "2027-03-28T12:00:30"}, berlin, "2027-03-28T01:00:00Z", "2027-03-28T10:00:30Z"},
		{"offsets", Ask{From: "2027-10-31T02:30:00+01:00", To: "2027-10-31T02:30:00Z"}, berlin, "2027-10-31T01:30:00Z", "2027-10-31T02:30:00Z"},
		{"a midnight that never comes", Ask{From: "2025-04-25", To: "2025-04-25"}, cairo, "2025-04-24T22:00:00Z", "2025-04-25T21:00:00Z"},
		{"the hour before midnight twice", Ask{From: "2025-10-30", To: "2025-10-30"}, cairo, "2025-10-29T21:00:00Z", "2025-10-30T22:00:00Z"},
		{"only an end", Ask{To: "2027-03-10"}, berlin, "2027-03-09T23:00:00Z", "2027-03-10T23:00:00Z"},
	} {
		from, to, err := c.ask.Span(now, c.loc)
		require.NoError(t, err, c.name)
		require.Equal(t, c.from, from.UTC().Format(time.RFC3339), c.name)
		require.Equal(t, c.to, to.UTC().Format(time.RFC3339), c.name)
	}
}

func TestTimesThatAreNone(t *testing.T) {
	berlin := place(t, "Europe/Berlin")
	now := time.Date(2027, 11, 5, 10, 30, 0, 0, time.UTC)
	for said, part := range map[string]string{
		"2027-03-28 02:30": "never shows it that day", "2027-10-31 02:30": "write 2027-10-31T02:30:00+02:00 or 2027-10-31T02:30:00+01:00",
		"31.10.2027": "write it like", "2027-13-01": "write it like", "noon": "write it like", "2027-03-02 25:00": "write it like",
	} {
		_, _, err := (&Ask{From: said}).Span(now, berlin)
		require.ErrorContains(t, err, part, said)
	}
	_, _, err := (&Ask{From: "2027-11-04", To: "2027-11-03"}).Span(now, berlin)
	require.ErrorContains(t, err, "ends before it begins")
}
