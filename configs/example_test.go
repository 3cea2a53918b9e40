package configs

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/schedule"
	"rillgate/zones"
)

func told(ps []Problem) string {
	var b strings.Builder
	_ = Print(&b, ps)
	return b.String()
}

func loadExample(t *testing.T, name string) *Loaded {
	t.Helper()
	l, ps := Parse(ExampleFiles(name))
	require.Empty(t, told(ps))
	require.NotNil(t, l)
	return l
}

func TestExamplesHaveNoProblem(t *testing.T) {
	for _, name := range []string{ExampleBay, ExampleDemo} {
		l := loadExample(t, name)
		require.Len(t, l.Hash, 12)
		require.Equal(t, l.Hash, l.Plan.Hash)
	}
	require.Nil(t, Example("bay/other.yaml"))
	require.Empty(t, ExampleFiles("nowhere"))
}

// Every value of the example arrives in the plan, in the core's units.
func TestBayBecomesThePlan(t *testing.T) {
	p := loadExample(t, ExampleBay).Plan
	require.Equal(t, "bay-2", p.Room)
	require.True(t, p.US)
	require.Equal(t, 30*time.Second, p.Lease)
	require.Equal(t, "America/Chicago", p.Calendar.Location.String())
	require.Equal(t, []schedule.Day{{On: 6 * time.Hour, Off: 18 * time.Hour}}, p.Calendar.Days)
	require.Equal(t, []zones.Controller{{ID: "north", Volts: 24, VA: 40, Inputs: []zones.Input{{ID: "tank-low", Means: zones.SupplyLow}}}}, p.Controllers)
	require.Equal(t, []zones.Supply{{ID: "feed", MaxOpen: 1, MaxFlowLPH: 1200, Low: "tank-low",
		Master: &zones.Master{Output: zones.Output{Controller: "north", Number: 8}, Kind: zones.MasterValve, Lead: 2 * time.Second}}}, p.Supplies)
	require.Equal(t, []zones.Valve{{ID: "east", Output: zones.Output{Controller: "north", Number: 1}, Supply: "feed", Holding: 0.25, Inrush: 0.4}}, p.Valves)
	require.Equal(t, zones.Probe{ID: "e1", Place: zones.Place{Controller: "north", Terminal: 1, Address: "0"}, Zone: "east", Label: "East 1"}, p.Probes[0])
	z := p.Zones[0]
	require.Equal(t, zones.Limits{MaxRun: 6 * time.Minute, MinRest: 5 * time.Minute, MaxPerDay: time.Hour, MaxMoisture: 70000}, z.Limits)
	require.Equal(t, zones.Moisture{Combine: zones.Median, Quorum: 2, StaleAfter: 3 * time.Minute, PlausibleLo: 2000, PlausibleHi: 95000}, z.Moisture)
	require.Equal(t, &zones.DryRule{Below: 38000, For: 20 * time.Minute}, z.Dry)
	require.Nil(t, z.Lost)
	require.InDelta(t, 180*0.09290304, z.CanopyM2, 1e-9)
	require.Equal(t, 6500.0, z.VolumeML)
	require.Equal(t, 0.2, z.HeightM)
	require.Equal(t, 192.0, z.FlowLPH())
}

func TestBayBecomesTheSchedule(t *testing.T) {
	z := loadExample(t, ExampleBay).Plan.Zones[0].Schedule
	require.True(t, z.Named)
	require.Equal(t, schedule.Scale{Shot: 0.9}, z.Scale)
	require.Equal(t, schedule.Date{Year: 2027, Month: time.February, Day: 1}, z.Crop.Day1)
	require.Equal(t, 70, z.Crop.Ends)
	require.Equal(t, 15, z.Crop.Stages[1].FromDay, "week 3 is day 15")
	require.Equal(t, 5, z.Crop.Stages[1].EaseFor)
	w := z.Crop.Stages[1].Windows
	require.Equal(t, schedule.Window{Name: "ramp-up", From: schedule.Edge{Anchor: schedule.LightsOn, Offset: time.Hour},
		Until: schedule.Edge{Anchor: schedule.LightsOn, Offset: 4 * time.Hour}, Below: 48000, StopAt: 55000,
		Shot: schedule.Shot{Kind: schedule.ByPercent, Value: 3}, Rest: 15 * time.Minute}, w[0])
	require.Equal(t, schedule.Level(3000), w[1].DryBack)
	require.Equal(t, schedule.Edge{Anchor: schedule.LightsOff, Offset: -2 * time.Hour}, w[1].Until)
	require.Equal(t, schedule.Shot{Kind: schedule.BySeconds, Value: 45}, w[2].Shot)
	require.Equal(t, schedule.Window{Name: "rinse", Cron: "30 12 * * MON", For: 30 * time.Minute,
		Shot: schedule.Shot{Kind: schedule.ByMillilitres, Value: 120}, MaxShots: 1}, w[3])
}

func TestBayBecomesTheGateway(t *testing.T) {
	g := loadExample(t, ExampleBay).Gateway
	require.Equal(t, Gateway{
		Broker:   Broker{URL: "mqtt://127.0.0.1:1883", Host: "127.0.0.1", Port: 1883},
		Username: "gateway", PasswordFile: "/etc/rillgate/mqtt.password", Lease: 30 * time.Second, Clock: ClockPlausible,
		Homie: Homie{Enabled: true, Root: "homie", Orders: []string{"stop", "hold"}},
		Page:  Page{"127.0.0.1:8480"}, History: History{90 * 24 * time.Hour}}, g)
}
