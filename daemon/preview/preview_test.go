package preview

import (
	"bytes"
	"context"
	"encoding/json"
	"encoding/xml"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/configs"
	"rillgate/schedule"
	"rillgate/zones"
	"rillgate/zones/response"
)

var monday = time.Date(2027, time.March, 1, 0, 0, 0, 0, time.UTC)

func demoPlan(t *testing.T) *zones.Plan {
	t.Helper()
	loaded, problems := configs.Parse(configs.ExampleFiles(configs.ExampleDemo))
	require.NotNil(t, loaded, "%v", problems)
	p := *loaded.Plan
	p.Zones, p.Probes = slices.Clone(p.Zones), slices.Clone(p.Probes)
	return &p
}

func simulated(t *testing.T, p *zones.Plan, o Options) *Result {
	t.Helper()
	if o.From.IsZero() {
		o.From = monday
	}
	o.Days = max(o.Days, 1)
	r, err := Run(t.Context(), p, o)
	require.NoError(t, err)
	return r
}

// taught gives a number as if it was learned well.
func taught(x float64) response.Number { return response.Number{Value: x, HalfWidth: x / 50, N: 20} }

// basis gives what a zone is simulated with.
func basis(t *testing.T, z *Zone, what string) Basis {
	t.Helper()
	i := slices.IndexFunc(z.Basis, func(b Basis) bool { return b.What == what })
	require.GreaterOrEqual(t, i, 0, "%s: %v", what, z.Basis)
	return z.Basis[i]
}

// Where nothing was taught everything but what the files say is told to be assumed, and
// the shots come in their windows: 07:00 to 10:00, 10:00 to 16:00, and under 47 % by
// night (the example's schedule with lights from 06:00 to 18:00).
func TestNothingWasTaught(t *testing.T) {
	r := simulated(t, demoPlan(t), Options{Days: 2})
	require.Equal(t, monday, r.From.UTC())
	require.Equal(t, 48*time.Hour, r.To.Sub(r.From))
	require.Len(t, r.Zones, 2)
	for i := range r.Zones {
		z := &r.Zones[i]
		for _, b := range z.Basis {
			require.Equal(t, b.What != "a litre a plant raises it by", b.Assumed, b)
		}
		require.Len(t, z.Days, 2)
		require.Len(t, z.Points, 2*24*60+1)
		shots, litres := 0, 0.0
		for _, s := range z.Shots {
			h := s.Start.Hour()
			require.True(t, s.Window == "night" && (h < 6 || h >= 18) || h >= 7 && h < 16, s)
			litres += s.Litres
		}
		for _, d := range z.Days {
			require.NotZero(t, d.Shots, d)
			shots += d.Shots
		}
		require.Equal(t, len(z.Shots), shots)
		require.InDelta(t, litres, *z.Litres, 1e-9)
		require.Greater(t, z.Highest, z.Lowest+2)
		require.Less(t, z.Highest, 63.0)
	}
	again := simulated(t, demoPlan(t), Options{Days: 2})
	require.Equal(t, r, again)
}

// What a preview shows teaches, by package response, what it was given: the zone's
// units and its simulated bed agree. The plan's own volume (6.5 L a plant, 15.4 points
// a litre) is another, so that a taught number that is left out is seen.
func TestBedsAnswerAsTaught(t *testing.T) {
	p := demoPlan(t)
	l := response.Learned{Zone: "bench-a", PointsPerLitre: taught(20), UptakeDay: taught(1.8), UptakeNight: taught(0.5), UptakeDayML: taught(90),
		UptakeNightML: taught(25), UptakeAt: 52, Field: taught(70), Shots: 20}
	r := simulated(t, p, Options{Days: 4, Learned: map[string]response.Learned{"bench-a": l}})
	got := learnedFrom(t, p, r, "bench-a")
	require.InEpsilon(t, 20, got.PointsPerLitre.Value, 0.1)
	require.InEpsilon(t, 90*(1+assumedSlope*(got.UptakeAt-52)), got.UptakeDayML.Value, 0.1)
	require.InEpsilon(t, 25*(1+assumedSlope*(r.Zones[0].Lowest+r.Zones[0].Highest-104)/2), got.UptakeNightML.Value, 0.2)
	other := learnedFrom(t, p, r, "bench-b")
	require.InEpsilon(t, 100/6.5, other.PointsPerLitre.Value, 0.1, "nothing was taught of it")
	require.Equal(t, Basis{What: "drains above", Value: "70.0 %", From: "learned from 20 shots"}, basis(t, &r.Zones[0], "drains above"))
}

// learnedFrom lets a zone's points and shots teach.
func learnedFrom(t *testing.T, p *zones.Plan, r *Result, id string) response.Learned {
	t.Helper()
	k := slices.IndexFunc(r.Zones, func(z Zone) bool { return z.ID == id })
	z, plan := &r.Zones[k], &p.Zones[k]
	m := response.New([]response.Zone{{ID: id, Plants: plan.Plants, VolumeML: plan.VolumeML, FlowLPH: plan.FlowLPH(), Probes: []string{"x"}}})
	next, open := 0, false
	for _, point := range z.Points {
		at := point.At.Sub(r.From)
		h := point.At.Hour()
		m.Lights(at, h >= 6 && h < 18)
		if next < len(z.Shots) {
			s := &z.Shots[next]
			if !open && !s.Start.After(point.At) {
				m.Opened(id, s.Start.Sub(r.From))
				open = true
			}
			if open && !s.End.After(point.At) {
				m.Ran(response.Run{Zone: id, Opened: s.Start.Sub(r.From), Closed: s.End.Sub(r.From), Litres: s.Litres})
				next, open = next+1, false
			}
		}
		m.Sample(response.Sample{Probe: "x", At: at, Moisture: point.Percent})
		m.Advance(at)
	}
	l, ok := m.Learned(id)
	require.True(t, ok)
	require.True(t, l.PointsPerLitre.Known() && l.UptakeDayML.Known() && l.UptakeNightML.Known(), "%+v", l)
	return l
}

// A plant that drinks twice as much gets more water, and one that drinks nothing none.
func TestWhatPlantsDrinkIsGiven(t *testing.T) {
	p := demoPlan(t)
	l := func(day float64) response.Learned {
		return response.Learned{Zone: "bench-a", UptakeDayML: taught(day), UptakeNightML: taught(day / 10), UptakeAt: 52}
	}
	given := func(day float64) float64 {
		r := simulated(t, p, Options{Days: 2, Learned: map[string]response.Learned{"bench-a": l(day)}})
		return *r.Zones[0].Litres / float64(p.Zones[0].Plants)
	}
	little, much := given(60), given(120)
	require.Greater(t, much, 1.5*little)
	require.Zero(t, given(0))
}

// With every zone's moisture of now the preview begins there, and with it nothing is
// simulated ahead.
func TestBeginsWhereItIsNow(t *testing.T) {
	p := demoPlan(t)
	p.Probes[0].Offset = 5000 // simulated probes show what is so
	r := simulated(t, p, Options{Level: map[string]float64{"bench-a": 44, "bench-b": 58}})
	for i, want := range []float64{44, 58} {
		z := &r.Zones[i]
		first := slices.IndexFunc(z.Points, func(p Point) bool { return p.Known })
		require.Less(t, first, 10, "minutes until the core has an estimate")
		require.InDelta(t, want, z.Points[first].Percent, 0.3)
		require.Equal(t, "as it is now", basis(t, z, "moisture at the start").From)
	}
	r = simulated(t, p, Options{Level: map[string]float64{"bench-a": 44, "elsewhere": 58}})
	require.True(t, r.Zones[0].Points[0].Known, "a day is simulated ahead where one zone's is not known")
}

// A zone that the schedule leaves dry is told, with the alarm it raises; one without
// probes is shown by its bed.
func TestTellsWhatToLookAt(t *testing.T) {
	p := demoPlan(t)
	p.Zones[0].Schedule = schedule.Zone{Named: true}
	p.Probes = slices.DeleteFunc(p.Probes, func(x zones.Probe) bool { return x.Zone == "bench-a" })
	p.Zones[0].EmittersEach = 0
	r := simulated(t, p, Options{Days: 3})
	a := &r.Zones[0]
	require.Empty(t, a.Shots)
	require.Zero(t, a.Probes)
	require.True(t, a.Known)
	require.Less(t, a.Lowest, a.Highest-20)
	require.Nil(t, a.Litres)
	require.True(t, basis(t, a, "emitters give each plant").Assumed)
	all := strings.Join(r.Findings(), "\n")
	require.Contains(t, all, "bench-a gets no water in this time")
	var out bytes.Buffer
	require.NoError(t, r.Table(&out))
	require.Contains(t, out.String(), "look: bench-a gets no water")
	require.Contains(t, out.String(), "bench-a  0      -       -           -")

	wet := demoPlan(t)
	wet.Zones[1].Limits.MaxMoisture = 54000
	r = simulated(t, wet, Options{From: monday.Add(9 * time.Hour), Level: map[string]float64{"bench-a": 51, "bench-b": 60}})
	require.NotZero(t, r.Zones[1].Refusals[zones.OverWet], "a dry-back of 2 points from 60 %% asks for water: %v", r.Zones[1].Refusals)
	require.Contains(t, strings.Join(r.Findings(), "\n"), "bench-b rises to 60.0 %, over max_moisture of 54 %")

	dry := demoPlan(t)
	rare := schedule.Window{Name: "rare", From: schedule.Edge{Anchor: schedule.LightsOn}, Until: schedule.Edge{Anchor: schedule.LightsOff},
		Below: 12000, Shot: schedule.Shot{Kind: schedule.BySeconds, Value: 60}}
	dry.Zones[0].Schedule = schedule.Zone{Named: true, Routine: "rare", Windows: []schedule.Window{rare}}
	r = simulated(t, dry, Options{Days: 2})
	all = strings.Join(r.Findings(), "\n")
	require.Contains(t, all, "bench-a falls to")
	require.Contains(t, all, "under its dry level of 38 %")
	require.Contains(t, all, "alarm dry of bench-a on ")
	require.NotContains(t, all, "bench-b")
}

// Probes that a person gave to a zone count in the preview too.
func TestAssignedProbesCount(t *testing.T) {
	p := demoPlan(t)
	var given []zones.Probe
	p.Probes = slices.DeleteFunc(p.Probes, func(x zones.Probe) bool {
		if x.Zone == "bench-a" {
			given = append(given, x)
		}
		return x.Zone == "bench-a"
	})
	require.Len(t, given, 4)
	alone := simulated(t, p, Options{})
	require.Zero(t, alone.Zones[0].Probes)
	given = append(given, zones.Probe{ID: "lost", Zone: "elsewhere"}, p.Probes[0])
	r := simulated(t, p, Options{Assigned: given})
	require.Equal(t, 4, r.Zones[0].Probes)
	require.Equal(t, 4, r.Zones[1].Probes)
	require.NotEmpty(t, r.Zones[0].Shots)
	require.Equal(t, zones.BelowThreshold, r.Zones[0].Shots[0].Opened)
	require.Len(t, p.Probes, 4, "the plan is not changed")
}

func TestDrawings(t *testing.T) {
	p := demoPlan(t)
	p.Name, p.Zones[0].Name, p.US = `Bay <1> & "more"`, `Bench <A>`, true
	r := simulated(t, p, Options{})
	var svg, doc, table bytes.Buffer
	require.NoError(t, r.SVG(&svg))
	require.NoError(t, r.HTML(&doc))
	require.NoError(t, r.Table(&table))
	requireXML(t, svg.Bytes())
	require.Equal(t, 2, strings.Count(svg.String(), `class="curve"`))
	require.Equal(t, 4, strings.Count(doc.String(), `class="curve"`), "wide and narrow")
	shots := len(r.Zones[0].Shots) + len(r.Zones[1].Shots)
	require.NotZero(t, shots)
	require.Equal(t, shots, strings.Count(svg.String(), `class="shot"`))
	for _, text := range []string{svg.String(), doc.String()} {
		require.NotContains(t, text, "<A>")
		require.NotContains(t, text, "<1>")
		require.Contains(t, text, "Bench &lt;A&gt;")
		require.Contains(t, text, notes[0][:30])
		require.NotContains(t, text, "NaN")
	}
	require.Contains(t, table.String(), "GALLONS")
	text, err := json.Marshal(r)
	require.NoError(t, err)
	require.Contains(t, string(text), `"drained"`)
}

func requireXML(t *testing.T, text []byte) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(text))
	for {
		if _, err := d.Token(); err != nil {
			require.ErrorIs(t, err, io.EOF)
			return
		}
	}
}

func TestRefuses(t *testing.T) {
	p := demoPlan(t)
	for _, days := range []int{0, -1, MostDays + 1} {
		_, err := Run(t.Context(), p, Options{From: monday, Days: days})
		require.ErrorContains(t, err, "1 to 92")
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := Run(ctx, p, Options{From: monday, Days: 1})
	require.True(t, errors.Is(err, context.Canceled), "%v", err)
}
