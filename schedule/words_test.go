package schedule

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestWords(t *testing.T) {
	percent := Shot{ByPercent, 3}
	for want, w := range map[string]Window{
		"from lights on + 1 h until lights on + 4 h, under 48 % up to 55 %, shots of 3 %, rest 15 min":                                    {From: on(hour), Until: on(4 * hour), Below: 48000, StopAt: 55000, Shot: percent, Rest: 15 * minute},
		"from lights on + 4 h until lights off - 2 h, after a fall of 3 points or under 40 %, shots of 2 %, rest 20 min, 8 shots at most": {From: on(4 * hour), Until: off(-2 * hour), DryBack: 3000, Floor: 40000, Shot: Shot{ByPercent, 2}, Rest: 20 * minute, MaxShots: 8},
		"from lights off until lights on, under 30 %, shots of 45 s, rest 1 h, 2 shots at most":                                           {From: off(0), Until: on(0), Below: 30000, Shot: Shot{BySeconds, 45}, Rest: hour, MaxShots: 2},
		`by cron "30 12 * * MON" for 30 min, by time, shots of 120 mL a plant, one shot at most`:                                          {Cron: "30 12 * * MON", For: 30 * minute, Shot: Shot{ByMillilitres, 120}, MaxShots: 1},
		"on Monday, Sunday from 06:00 until 22:30:15, by time, shots of 45.5 s, rest 1 h 30 min, also without probes":                     {On: weekdays(time.Sunday, time.Monday), From: clock("06:00"), Until: Edge{AtClock, 22*hour + 30*minute + 15*time.Second}, Shot: Shot{BySeconds, 45.5}, Rest: 90 * minute, WithoutProbes: true},
		"from 00:00 until 24:00, until 60.5 % is reached once, shots of 0.333 %, rest 16 min 40 s":                                        {From: clock("00:00"), Until: clock("24:00"), StopAt: 60500, Shot: Shot{ByPercent, 1.0 / 3}, Rest: 1000 * time.Second},
		"from 05:00 until 07:00, after a fall of 2.25 points, shots of 3 %":                                                               {From: clock("05:00"), Until: clock("07:00"), DryBack: 2250, Shot: percent},
	} { // each case stands alone
		require.Equal(t, want, w.Words())
	}
	require.Equal(t, "0 s", lasting(0))
	require.Equal(t, "1 min", lasting(59*time.Second+600*time.Millisecond), "rounded, not cut")
}

// Every window of an eased and scaled crop can be said without a long tail of decimals.
func TestWordsOfEasedWindows(t *testing.T) {
	cal := usual(t, "America/Chicago")
	z := &Zone{Named: true, Crop: firstCrop(), Scale: Scale{Shot: 0.9}}
	s := At(cal, z, time.Date(2027, 2, 15, 8, 0, 0, 0, cal.Location))
	require.Equal(t, "from lights on + 1 h until lights on + 4 h, under 48 % up to 59 %, shots of 2.88 %, rest 17 min", s.Instance.Window.Words())
}
