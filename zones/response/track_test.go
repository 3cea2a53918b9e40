package response

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func trackOf(levels ...milli) *track {
	t := &track{dots: make([]dot, 0, 512)}
	for i, l := range levels {
		t.put(dot{int64(i+1) * minute, l})
	}
	return t
}

func TestTrackKeepsADotAMinute(t *testing.T) {
	x := &track{dots: make([]dot, 0, 512)}
	for s := int64(60); s < 180; s += 10 {
		x.put(dot{s, milli(s)})
	}
	require.Equal(t, []dot{{110, 110}, {170, 170}}, x.dots, "the last of each minute")
	x.put(dot{170, 1})
	x.put(dot{100, 1})
	require.Len(t, x.dots, 2, "what does not advance is left out")
}

func TestTrackForgets(t *testing.T) {
	x := &track{dots: make([]dot, 0, 512)}
	for i := int64(1); i <= 5000; i++ {
		x.put(dot{i * minute, milli(i)})
	}
	require.Equal(t, 512, cap(x.dots), "it does not grow")
	require.Len(t, x.between(5000*minute-trackSpan, 5000*minute+1), int(trackSpan/minute)+1)
}

// The middle three fifths of 1, 2, 3, 4, 90 are 2, 3, 4.
func TestLevelLeavesOutliersOut(t *testing.T) {
	x := trackOf(1000, 90000, 3000, 2000, 4000)
	require.Equal(t, milli(3000), x.level(0, hour))
	require.Equal(t, milli(1000), x.level(0, minute+1))
	require.Equal(t, unknown, x.level(hour, 2*hour))
}

// From 40 to 44 % in straight steps of 1 point a minute, 42 % is reached at 3 min after
// the opening at the first dot.
func TestHalfway(t *testing.T) {
	x := trackOf(40000, 40000, 41000, 42000, 43000, 44000, 44000)
	require.Equal(t, 3*minute, x.halfway(minute, hour, 40000, 44000))
	require.Equal(t, 2*minute+30, x.halfway(minute, hour, 39000, 44000))
	require.Equal(t, int64(-1), x.halfway(minute, hour, 40000, 40900), "no clear rise")
	require.Equal(t, int64(-1), x.halfway(minute, hour, 50000, 60000), "never there")
}

func TestUnknownStaysUnknown(t *testing.T) {
	require.Equal(t, unknown, minus(unknown, 5))
	require.Equal(t, unknown, minus(5, unknown))
	require.Equal(t, unknown, middleOf([]milli{unknown, unknown}))
	require.Equal(t, milli(5), middleOf([]milli{unknown, 4, 6}))
	require.Equal(t, milli(7), others([]milli{100, 7, unknown}, 0))
	require.Equal(t, unknown, others([]milli{100}, 0))
}

// Ten points on y = 2 x + 1 and one far off: the slope is 2 (own arithmetic).
func TestTheilSen(t *testing.T) {
	var x, y []float64
	for i := range 10 {
		x, y = append(x, float64(i)), append(y, 2*float64(i)+1)
	}
	n := theilSen(append(x, 5), append(y, 90))
	require.InDelta(t, 2, n.Value, 1e-9)
	require.Equal(t, 11, n.N)
	require.Zero(t, theilSen([]float64{1, 1, 1}, []float64{1, 2, 3}).N, "no two apart")
}

// Of what is found of one subject the heaviest stands, and what is found of a zone
// explains its probes.
func TestWhatStands(t *testing.T) {
	b := newBed(Zone{ID: "a", Probes: []string{"p", "q"}}, 0)
	m := &Model{beds: []*bed{b}}
	m.raise(b, Finding{Code: ProbeDrifts, Probe: "p"})
	m.raise(b, Finding{Code: EmittersBlocked, Probe: "p"})
	m.raise(b, Finding{Code: ProbeSlipped, Probe: "q"})
	codes := func() (out []string) {
		for _, f := range m.Findings() {
			out = append(out, string(f.Code)+" "+f.Subject())
		}
		return out
	}
	require.Equal(t, []string{"probe-slipped q", "emitters-blocked p"}, codes())
	m.raise(b, Finding{Code: Swapped, Other: "b"})
	require.Equal(t, []string{"swapped a"}, codes())
	m.clear(b, Swapped, "")
	m.clear(b, EmittersBlocked, "p")
	require.Equal(t, []string{"probe-slipped q", "probe-drifts p"}, codes())
}

// A run whose end nobody tells does not blind the model for ever.
func TestRunWithoutAnEnd(t *testing.T) {
	m := New([]Zone{{ID: "a", Probes: []string{"p"}}})
	m.Opened("a", time.Hour)
	m.Advance(2 * time.Hour)
	require.True(t, m.beds[0].busy())
	m.Advance(4 * time.Hour)
	require.False(t, m.beds[0].busy())
}

func BenchmarkRoomMinute(b *testing.B) {
	var zones []Zone
	for _, z := range []string{"a", "b", "c", "d"} {
		zones = append(zones, Zone{ID: z, Probes: []string{z + "0", z + "1", z + "2", z + "3", z + "4", z + "5", z + "6", z + "7", z + "8", z + "9"}})
	}
	m := New(zones)
	m.Lights(0, true)
	b.ReportAllocs()
	for i := range b.N {
		at := time.Duration(i+1) * time.Minute
		for _, z := range zones {
			for k, p := range z.Probes {
				m.Sample(Sample{Probe: p, At: at, Moisture: 50 + float64((i*7+k)%5)/10})
			}
		}
		m.Advance(at)
	}
}
