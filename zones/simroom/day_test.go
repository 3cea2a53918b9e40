package simroom

import (
	"strconv"
	"testing"
	"time"

	"rillgate/schedule"
	"rillgate/zones"

	"github.com/stretchr/testify/require"
)

// grower is a plain hand that waters one zone of coir by its true moisture: from 07:00
// a series from 48 to 55 % in shots of 3 %, from 10:00 to 16:00 shots of 2 % after a
// fall of 3 points, nothing at night.
type grower struct {
	series   bool
	high     float64
	rested   time.Duration
	ramp     int
	daytime  int
	low, top float64
}

func (g *grower) look(h *hand, now float64, clock time.Duration) (shot time.Duration) {
	g.low, g.top, g.high = min(g.low, now), max(g.top, now), max(g.high, now)
	if h.r.Now() < g.rested {
		return 0
	}
	switch {
	case clock >= 7*time.Hour && clock < 10*time.Hour:
		g.series = now < 55 && (g.series || now < 48)
		if g.series {
			g.ramp++
			return 175500 * time.Millisecond // 195 mL at 4 L/h
		}
	case clock >= 10*time.Hour && clock < 16*time.Hour && g.high-now >= 3:
		g.daytime++
		return 117 * time.Second // 130 mL
	}
	return 0
}

// With the defaults a coir bed of 6.5 L a plant has days like days: a ramp-up in the
// morning, shots by day, a dry-back of some points over night, and so every day.
func TestADayLooksLikeADay(t *testing.T) {
	h := newHand(t, newRoom(t, testPlan(1, 4), Options{Seed: 1, Start: at("00:00")}))
	var dusk float64
	for day := 0; day < 4; day++ {
		g := grower{low: 100}
		evening, dawn := dusk, 0.0
		for i := 0; i < 24*60; i++ {
			clock := h.r.Now() % (24 * time.Hour)
			x := h.truth("z1")
			switch clock {
			case 18 * time.Hour:
				dusk = x.Moisture
			case 6 * time.Hour:
				dawn = x.Moisture
			}
			if long := g.look(h, x.Moisture, clock); long > 0 {
				h.shot(1, strconv.Itoa(day)+"-"+strconv.Itoa(i), long)
				g.high = h.truth("z1").Moisture
				g.rested = h.r.Now() + 15*time.Minute
				i += int(long / time.Minute)
			}
			h.to(time.Duration(day)*24*time.Hour + time.Duration(i+1)*time.Minute)
		}
		x := h.truth("z1")
		t.Logf("day %d: ramp-up %d, daytime %d, low %.1f, top %.1f, dawn %.1f, dusk %.1f, drained %.1f of %.1f L",
			day, g.ramp, g.daytime, g.low, g.top, dawn, dusk, x.Drained, x.Applied)
		if day == 0 {
			continue // begins where the options say
		}
		require.InDelta(t, 4, g.ramp, 1)
		require.InDelta(t, 3, g.daytime, 1)
		require.InDelta(t, 2, evening-dawn, 1, "what a night takes")
		require.InDelta(t, 46, g.low, 4)
		require.InDelta(t, 55, g.top, 4)
		require.InDelta(t, 8, x.Wettest-x.Driest, 8, "unlike emitters do not drift apart for ever")
	}
}

func TestLightsFollowTheCalendar(t *testing.T) {
	zone, err := time.LoadLocation("America/Chicago")
	require.NoError(t, err)
	p := testPlan(1, 0)
	p.Calendar = schedule.Calendar{Location: zone, Days: []schedule.Day{
		{On: 6 * time.Hour, Off: 18 * time.Hour},
		{From: schedule.Date{Year: 2027, Month: 3, Day: 10}, On: 20 * time.Hour, Off: 8 * time.Hour},
	}}
	for _, c := range []struct {
		at string
		on bool
	}{
		{"2027-03-09T05:59:59-06:00", false}, {"2027-03-09T06:00:00-06:00", true},
		{"2027-03-09T17:59:59-06:00", true}, {"2027-03-09T18:00:00-06:00", false},
		{"2027-03-10T07:59:59-06:00", true}, {"2027-03-10T08:00:00-06:00", false},
		{"2027-03-10T19:59:59-06:00", false}, {"2027-03-10T20:00:00-06:00", true},
		{"2027-03-14T07:59:59-05:00", true}, {"2027-03-14T08:00:00-05:00", false}, // after the change to summer time (tz database)
	} {
		at, err := time.Parse(time.RFC3339, c.at)
		require.NoError(t, err)
		require.Equal(t, c.on, calendarLights(p, at), c.at)
		require.Equal(t, c.on, newRoom(t, p, Options{Start: at}).LightsOn(), c.at)
	}
	require.True(t, calendarLights(&zones.Plan{}, at("12:00")))
}

func TestLightsOfOnesOwn(t *testing.T) {
	o := still()
	o.Lights = func(at time.Time) bool { return at.Minute() >= 30 }
	h := newHand(t, newRoom(t, testPlan(1, 0), o))
	h.to(29 * time.Minute)
	require.False(t, h.in["lamps"])
	h.to(30 * time.Minute)
	require.True(t, h.in["lamps"])
}

func TestDemoStory(t *testing.T) {
	p := testPlan(2, 4)
	all := DemoStory(p, at("05:00"))
	require.Equal(t, []Fault{
		{Kind: ProbeLost, At: 7 * time.Hour, For: time.Hour, Subject: "z1-0"},
		{Kind: TankLow, At: 9*time.Hour + 10*time.Minute, For: 20 * time.Minute, Subject: "feed"},
		{Kind: EmittersBlocked, At: 10 * time.Hour, For: 2 * time.Hour, Subject: "z2-3", Value: 0.33},
	}, all)
	_, err := New(p, Options{Faults: all})
	require.NoError(t, err)
	require.Equal(t, 23*time.Hour, DemoStory(p, at("13:00"))[0].At, "the next day's noon")
	p.Supplies[0].Low = ""
	require.Len(t, DemoStory(p, at("05:00")), 2)
	require.Empty(t, DemoStory(&zones.Plan{}, at("05:00")))
}
