package schedule

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// A look is one moisture seen (-1: none), with what Decide must make of it.
type look struct {
	moisture Level
	want     Trigger
}

func TestDecideOverManyLooks(t *testing.T) {
	for name, c := range map[string]struct {
		window Window
		looks  []look
	}{
		"below and stop_at: a series from under the one to the other": {Window{Below: 48000, StopAt: 55000}, []look{
			{50000, None}, {48000, None}, {-1, None}, {47999, BelowThreshold}, {48000, BelowThreshold}, {-1, None},
			{54999, BelowThreshold}, {55000, None}, {54999, None}, {48000, None}, {47999, BelowThreshold},
			{60000, None}, {47999, BelowThreshold},
		}},
		"below alone: each shot needs it": {Window{Below: 48000}, []look{
			{48000, None}, {47999, BelowThreshold}, {48000, None}, {-1, None}, {1, BelowThreshold}, {0, BelowThreshold},
		}},
		"stop_at alone: until it was reached once": {Window{StopAt: 60000}, []look{
			{59999, ToLevel}, {-1, None}, {59999, ToLevel}, {60000, None}, {10000, None}, {-1, None}, {10000, None},
		}},
		"stop_at alone, over it from the start": {Window{StopAt: 60000}, []look{{61000, None}, {59000, None}}},
		"none: by time, whatever is known":      {Window{}, []look{{0, ByTime}, {-1, ByTime}, {99000, ByTime}}},
	} {
		p := Progress{Instance: "i"}
		for i, l := range c.looks {
			var got Trigger
			got, p = Decide(&c.window, p, Sight{Known: l.moisture >= 0, Moisture: l.moisture})
			require.Equal(t, l.want, got, "%s, look %d", name, i)
		}
	}
}

func TestDecideDryBack(t *testing.T) {
	dry, floored := Window{DryBack: 3000}, Window{DryBack: 3000, Floor: 40000}
	for name, c := range map[string]struct {
		window Window
		sight  Sight
		want   Trigger
	}{
		"fell enough":                  {dry, Sight{true, 50000, true, 3000}, DriedBack},
		"just not":                     {dry, Sight{true, 50000, true, 2999}, None},
		"no high stands":               {dry, Sight{true, 50000, false, 9000}, None},
		"no moisture":                  {dry, Sight{false, 0, true, 9000}, None},
		"at the floor":                 {floored, Sight{true, 40000, true, 0}, None},
		"under the floor":              {floored, Sight{true, 39999, true, 0}, BelowThreshold},
		"under the floor, no high":     {floored, Sight{true, 39999, false, 0}, BelowThreshold},
		"under the floor, unknown":     {floored, Sight{false, 0, false, 0}, None},
		"both":                         {floored, Sight{true, 39999, true, 3000}, DriedBack},
		"rose since its high (no dry)": {dry, Sight{true, 50000, true, -500}, None},
	} {
		got, p := Decide(&c.window, Progress{Instance: "i", Shots: 2}, c.sight)
		require.Equal(t, c.want, got, name)
		require.Equal(t, Progress{Instance: "i", Shots: 2}, p, name)
	}
}

// What is not known changes nothing; what is known changes only what the rule says.
func TestDecideProgress(t *testing.T) {
	for name, c := range map[string]struct {
		window Window
		before Progress
		sight  Sight
		after  Progress
	}{
		"series goes on unseen":  {Window{Below: 40000, StopAt: 50000}, Progress{"i", 3, true, false}, Sight{}, Progress{"i", 3, true, false}},
		"series begins":          {Window{Below: 40000, StopAt: 50000}, Progress{"i", 3, false, false}, Sight{Known: true, Moisture: 39999}, Progress{"i", 3, true, false}},
		"series ends":            {Window{Below: 40000, StopAt: 50000}, Progress{"i", 3, true, false}, Sight{Known: true, Moisture: 50000}, Progress{"i", 3, false, false}},
		"reached":                {Window{StopAt: 50000}, Progress{"i", 1, false, false}, Sight{Known: true, Moisture: 50000}, Progress{"i", 1, false, true}},
		"reached stays, unseen":  {Window{StopAt: 50000}, Progress{"i", 1, false, true}, Sight{}, Progress{"i", 1, false, true}},
		"by time leaves it":      {Window{}, Progress{"i", 1, true, true}, Sight{Known: true, Moisture: 50000}, Progress{"i", 1, true, true}},
		"below alone, no series": {Window{Below: 40000}, Progress{"i", 1, false, false}, Sight{Known: true, Moisture: 1}, Progress{"i", 1, false, false}},
	} {
		_, p := Decide(&c.window, c.before, c.sight)
		require.Equal(t, c.after, p, name)
	}
}

func TestProgressFor(t *testing.T) {
	p := Progress{Instance: "2027-02-01/night", Shots: 2, Series: true, Reached: true}
	require.Equal(t, p, p.For("2027-02-01/night"))
	require.Equal(t, Progress{Instance: "2027-02-02/night"}, p.For("2027-02-02/night"))
	require.Equal(t, Progress{Instance: "2027-02-02/night"}, Progress{}.For("2027-02-02/night"))
}

func TestSmallTypes(t *testing.T) {
	require.Equal(t, 46.2, Level(46200).Float())
	require.Equal(t, Level(3000), 3*Percent)
	require.True(t, weekdays(6).Has(6))
	require.False(t, weekdays(6).Has(0))
}
