package preview

import (
	"testing"

	"github.com/stretchr/testify/require"

	"rillgate/schedule"
	"rillgate/zones"
	"rillgate/zones/response"
)

// The numbers of a bed, by hand: 1 L in a bed of V litres is 100/V points.
func TestNumbersOfABed(t *testing.T) {
	zone := zones.Zone{ID: "a", VolumeML: 5000, EmittersEach: 2, EmitterLPH: 2, Substrate: "stone wool"}
	level := 60.0
	for name, c := range map[string]struct {
		change  func(z *zones.Zone)
		taught  response.Learned
		level   *float64
		volume  float64
		day     float64
		field   float64
		start   float64
		respond float64
	}{
		"nothing":              {volume: 5, day: 0.0153 * 5, field: 80, start: 52, respond: 0.02},
		"no volume":            {change: func(z *zones.Zone) { z.VolumeML = 0 }, volume: 4, day: 0.0153 * 4, field: 80, start: 52, respond: 0.02},
		"points a litre":       {taught: response.Learned{PointsPerLitre: taught(25)}, volume: 4, day: 0.0153 * 4, field: 80, start: 52, respond: 0.02},
		"two shots are few":    {taught: response.Learned{PointsPerLitre: response.Number{Value: 25, N: 2}}, volume: 5, day: 0.0153 * 5, field: 80, start: 52, respond: 0.02},
		"uptake":               {taught: response.Learned{UptakeDayML: taught(80)}, volume: 5, day: 0.08, field: 80, start: 52, respond: 0.02},
		"uptake in points":     {taught: response.Learned{UptakeDay: taught(2)}, volume: 5, day: 0.1, field: 80, start: 52, respond: 0.02},
		"uptake elsewhere":     {taught: response.Learned{UptakeDayML: taught(80), UptakeAt: 42}, volume: 5, day: 0.08 * 1.2, field: 80, start: 52, respond: 0.02},
		"with its slope":       {taught: response.Learned{UptakeDayML: taught(80), UptakeAt: 42, UptakeSlope: taught(0.01)}, volume: 5, day: 0.08 * 1.1, field: 80, start: 52, respond: 0.01},
		"a slope too steep":    {taught: response.Learned{UptakeSlope: taught(0.2)}, volume: 5, day: 0.0153 * 5, field: 80, start: 52, respond: 0.7 / 30},
		"no slope at all":      {taught: response.Learned{UptakeSlope: response.Number{N: 20}}, volume: 5, day: 0.0153 * 5, field: 80, start: 52, respond: -1},
		"it drinks nothing":    {taught: response.Learned{UptakeDayML: response.Number{Value: -0.1, N: 9}}, volume: 5, day: -1, field: 80, start: 52, respond: 0.02},
		"field":                {taught: response.Learned{Field: taught(50)}, volume: 5, day: 0.0153 * 5, field: 50, start: 49, respond: 0.02},
		"level of now":         {level: &level, volume: 5, day: 0.0153 * 5, field: 80, start: 60, respond: 0.7 / 38},
		"level of the windows": {change: func(z *zones.Zone) { z.Schedule.Windows = []schedule.Window{{Below: 70000, StopAt: 75000}} }, volume: 5, day: 0.0153 * 5, field: 80, start: 75, respond: 0.7 / 53},
	} {
		t.Run(name, func(t *testing.T) {
			z := zone
			if c.change != nil {
				c.change(&z)
			}
			b := newBed(&z, c.taught, c.level)
			require.InDelta(t, c.volume, b.volumeL, 1e-9)
			require.InDelta(t, c.day, b.o.UptakeDayLPH, 1e-9)
			require.InDelta(t, c.field, b.o.FieldPercent, 1e-9)
			require.InDelta(t, c.start, b.o.StartPercent, 1e-9)
			require.InDelta(t, c.respond, b.o.Response, 1e-9)
			require.Equal(t, -1.0, b.o.EvaporationLPH, "what is taught holds it")
		})
	}
}
