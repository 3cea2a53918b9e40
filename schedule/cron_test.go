package schedule

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestParseCronAccepts(t *testing.T) {
	for _, expr := range []string{
		"30 12 * * MON", "* * * * *", "*/15 0-6 1,15 jan-mar,DEC mon-fri", "0 0 29 2 *", "0 0 31 * *",
		" 30  12 * * 0 ", "30\t12 * * ?", "5/10 * * * *", "*/60 * * * *", "0 */24 * * *", "0 0 31 2 MON",
	} {
		require.NoError(t, ParseCron(expr), expr)
	}
}

func TestParseCronRefuses(t *testing.T) {
	for expr, says := range map[string]string{
		"":                                      "0 fields; write five fields",
		"30 12 * *":                             "4 fields; write five fields: minute, hour, day of month, month, weekday",
		"0 30 12 * * MON":                       "6 fields; write five fields",
		"TZ=UTC":                                "set time_zone in room.yaml",
		"TZ=":                                   "set time_zone in room.yaml",
		"CRON_TZ=X":                             "set time_zone in room.yaml",
		"TZ=UTC 30 12 * * MON":                  "set time_zone in room.yaml",
		"@every 1h":                             "words with @ have no fixed place on the clock; write five fields",
		"@reboot":                               "words with @",
		"@daily":                                "words with @",
		", * * * *":                             `minute ",": an empty place in the list never comes due; take the comma out`,
		"* , * * *":                             `hour ",": an empty place`,
		"1,,2 * * * *":                          `minute "1,,2": an empty place`,
		"1, * * * *":                            `minute "1,": an empty place`,
		"0 0 30 2 *":                            "never comes due: none of its months has such a day",
		"0 0 31 4,6,9,11 *":                     "never comes due",
		"60 * * * *":                            `minute "60": write 0 to 59, a list 1,2, a range 1-5 or a step */2`,
		"* 24 * * *":                            `hour "24": write 0 to 23`,
		"* * 0 * *":                             `day of month "0": write 1 to 31`,
		"* * 32 * *":                            `day of month "32": write 1 to 31`,
		"* * * 13 *":                            `month "13": write 1 to 12 or JAN to DEC`,
		"* * * * 7":                             `weekday "7": write 0 to 6 (0 is Sunday) or SUN to SAT`,
		"* * * * FRI-MON":                       `weekday "FRI-MON": write 0 to 6`,
		"* * L * *":                             `day of month "L"`,
		"* * 15W * *":                           `day of month "15W"`,
		"* * * * MON#2":                         `weekday "MON#2"`,
		"5-1 * * * *":                           `minute "5-1"`,
		"*/0 * * * *":                           `minute "*/0"`,
		"*/ * * * *":                            `minute "*/"`,
		"1-2-3 * * * *":                         `minute "1-2-3"`,
		"1/2/3 * * * *":                         `minute "1/2/3"`,
		"-5 * * * *":                            `minute "-5"`,
		"+5 * * * *":                            `minute "+5": write the number without a sign`,
		"*/+5 * * * *":                          `minute "*/+5": write the number without a sign`,
		"*-5 * * * *":                           `minute "*-5": "*-5" stands for every value and takes no range; write * or a range such as 1-5`,
		"** * * * *":                            `minute "**"`,
		"*/90 * * * *":                          `minute "*/90": a step of 90 is longer than the field (0 to 59) and starts over with it`,
		"0 */25 * * *":                          `hour "*/25": a step of 25`,
		"0 0 * * */99999999999999":              `weekday "*/99999999999999": a step of 99999999999999`,
		"0 0 * * */99999999999999999999":        `weekday "*/99999999999999999999": write 0 to 6`,
		strings.Repeat("1,", 300) + "1 * * * *": "longer than 512 characters",
	} {
		err := ParseCron(expr)
		require.ErrorContains(t, err, says, expr)
		require.ErrorContains(t, err, "cron \"", expr)
	}
}

// The library is only asked what it answers well; should it panic all the same, the
// text is refused. "TZ=UTC" without a space makes v3.0.1 slice out of bounds.
func TestReadCronOutlivesAPanic(t *testing.T) {
	_, err := readCron("TZ=UTC")
	require.ErrorContains(t, err, "write five fields")
	require.ErrorContains(t, err, "the parser gave up")
	require.Equal(t, err, wrongField("* * * * *", err), "no single field is to blame")
}

// Crontab semantics as POSIX gives them (The Open Group Base Specifications, crontab,
// "INPUT FILES"): with both a day of month and a weekday, either is enough.
func TestCronNext(t *testing.T) {
	for _, c := range []struct{ expr, after, want string }{
		{"30 12 * * MON", "2027-02-01T12:29:59Z", "2027-02-01T12:30:00Z"},
		{"30 12 * * MON", "2027-02-01T12:30:00Z", "2027-02-08T12:30:00Z"},
		{"0 0 1,15 * 1", "2027-02-02T00:00:00Z", "2027-02-08T00:00:00Z"}, // the example of POSIX: a Monday
		{"0 0 1,15 * 1", "2027-02-26T00:00:00Z", "2027-03-01T00:00:00Z"}, // the first, a Monday too
		{"0 0 29 2 *", "2027-01-01T00:00:00Z", "2028-02-29T00:00:00Z"},
		{"*/7 * * * *", "2027-01-01T00:56:00Z", "2027-01-01T01:00:00Z"}, // starts over with the hour
		{"30 2 * * *", "2025-03-09T00:00:00Z", "2025-03-09T02:30:00Z"},  // on the face, whatever a zone skips
		{"30 2 * * *", "2025-03-08T20:00:00-06:00", "2025-03-09T02:30:00Z"},
	} {
		got, ok := CronNext(c.expr, instant(t, c.after))
		require.True(t, ok, c.expr)
		require.Equal(t, instant(t, c.want), got, "%s after %s", c.expr, c.after)
	}
	for _, expr := range []string{"0 0 30 2 *", "not cron"} {
		_, ok := CronNext(expr, instant(t, "2027-01-01T00:00:00Z"))
		require.False(t, ok, expr)
	}
	_, ok := CronNext("0 0 29 2 *", time.Date(2096, 3, 1, 0, 0, 0, 0, time.UTC))
	require.False(t, ok, "2100 is no leap year; the next is eight years away")
}

// What has come due never comes due again from the zero time on.
func TestCronEndsWhereTheLibraryFindsNothing(t *testing.T) {
	cal, z := usual(t, "UTC"), only(dated("leap", "0 12 29 2 *", hour))
	found := Upcoming(cal, z, instant(t, "2096-01-01T00:00:00Z"), instant(t, "2105-01-01T00:00:00Z"))
	require.Equal(t, []string{
		"2096-02-29T12:00/leap 2096-02-29T12:00:00Z 2096-02-29T13:00:00Z",
		"2104-02-29T12:00/leap 2104-02-29T12:00:00Z 2104-02-29T13:00:00Z",
	}, lines(found))
}
