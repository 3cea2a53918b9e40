package zones

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func ends(below, above float64) (b, a *float64) { return &below, &above }

func TestBandEdges(t *testing.T) {
	below, above := ends(16, 28)
	b := &Band{Below: below, Above: above}
	for x, word := range map[float64]string{15.999: "under", 16: "", 28: "", 28.001: "over"} {
		got, _, out := b.out(x)
		require.Equal(t, word, got, "%g", x)
		require.Equal(t, word != "", out)
	}
}

// warm lets every probe of the rig be heard at a temperature, for a time.
func (g *rig) warm(d time.Duration, celsius float64) {
	for end := g.now.Mono + d; g.now.Mono < end; {
		g.pass(10 * time.Second)
		g.report()
		for _, p := range g.room.plan.Probes {
			g.step(&Reading{Place: p.Place, Moisture: 45000, HasMoisture: true, EC: math.NaN(), Temperature: celsius, Permittivity: math.NaN()})
		}
		g.step(&Tick{})
	}
}

func (g *rig) alarmed(code Reason, subject string) bool {
	return g.room.alarm(code, subject) != nil
}

// The alarm comes when the number has been outside for the band's time, not before,
// stands while it cannot be told, and ends when it is back.
func TestRootTemperatureAlarm(t *testing.T) {
	p := respondPlan()
	_, above := ends(0, 28)
	p.Zones[0].RootTemperature = &Band{Above: above, For: 30 * time.Minute}
	g := newRig(t, p)
	id := p.Zones[0].ID
	g.warm(time.Hour, 28)
	require.False(t, g.alarmed(AlarmRootWarmth, id), "at the edge")
	g.warm(29*time.Minute+50*time.Second, 28.1)
	require.False(t, g.alarmed(AlarmRootWarmth, id), "not long enough")
	g.warm(20*time.Second, 28.1)
	require.True(t, g.alarmed(AlarmRootWarmth, id))
	require.Contains(t, g.room.alarm(AlarmRootWarmth, id).because, "28.1 °C, over 28 °C for 30")
	g.warm(10*time.Minute, math.NaN())
	require.True(t, g.alarmed(AlarmRootWarmth, id), "not told any more: it stands")
	g.warm(20*time.Second, 27)
	require.False(t, g.alarmed(AlarmRootWarmth, id))
	g.warm(29*time.Minute, 29)
	g.warm(10*time.Second, 27)
	g.warm(29*time.Minute, 29)
	require.False(t, g.alarmed(AlarmRootWarmth, id), "back within, it begins anew")
}
