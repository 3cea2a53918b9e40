package zones

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

const m = time.Minute

// heard is a reading at a time of age, in percent.
type heard struct {
	at    time.Duration
	level float64
}

func newTestProbe() *probe {
	return &probe{lo: 2000, hi: 95000, stale: 3 * m, zone: &zone{}}
}

func (p *probe) hear(at time.Duration, percent float64) (taken, changed bool) {
	return p.take(&Reading{Moisture: Level(math.Round(percent * 1000)), HasMoisture: true}, at)
}

func (p *probe) hearStamped(at, stamp time.Duration, percent float64) bool {
	taken, _ := p.take(&Reading{Moisture: Level(math.Round(percent * 1000)), HasMoisture: true, HasTime: true, At: stamp}, at)
	return taken
}

func TestPlausible(t *testing.T) {
	for _, c := range []struct {
		name  string
		heard []heard
		out   bool // excluded or outside after the last
	}{
		{"in range", []heard{{m, 40}, {2 * m, 40}}, false},
		{"at the low edge", []heard{{m, 2}}, false},
		{"under the low edge", []heard{{m, 1.999}}, true},
		{"at the high edge", []heard{{m, 95}}, false},
		{"over the high edge", []heard{{m, 95.001}}, true},
		{"falls 10 points in 10 min", []heard{{m, 50}, {5 * m, 40}}, false},
		{"falls more than 10 points in 10 min", []heard{{m, 50}, {5 * m, 39.999}}, true},
		{"falls from the highest of 10 min, not the last", []heard{{m, 50}, {5 * m, 44}, {11 * m, 39.9}}, true},
		{"the highest is older than 10 min", []heard{{m, 50}, {5 * m, 44}, {12 * m, 39.9}}, false},
		{"after a gap of an hour, more than 10 under the last", []heard{{m, 50}, {61 * m, 39.9}}, true},
		{"after a longer gap", []heard{{m, 50}, {62 * m, 39.9}}, false},
		{"rises at will", []heard{{m, 20}, {2 * m, 90}}, false},
		{"returns to where it stood before a rise", []heard{{m, 30}, {2 * m, 30}, {3 * m, 55}, {8 * m, 35}}, false},
		{"returns to more than 5 over where it stood", []heard{{m, 30}, {2 * m, 30}, {3 * m, 55}, {8 * m, 35.1}}, true},
		{"falls to more than 5 under where it stood", []heard{{m, 30}, {2 * m, 30}, {3 * m, 55}, {8 * m, 24.9}}, true},
		{"the rise is more than an hour old", []heard{{m, 30}, {2 * m, 55}, {30 * m, 55}, {60 * m, 55}, {64 * m, 33}}, true},
		{"stays out until within 5 of the former level", []heard{{m, 50}, {2 * m, 30}, {3 * m, 44.9}}, true},
		{"comes back at 5 under the former level", []heard{{m, 50}, {2 * m, 30}, {3 * m, 45}}, false},
		{"comes back from above", []heard{{m, 50}, {2 * m, 30}, {3 * m, 70}}, false},
		{"drains slowly to where it stood before the rise", []heard{{m, 45}, {2 * m, 72}, {5 * m, 64}, {8 * m, 56}, {12 * m, 49}}, false},
		{"in the air and back in range", []heard{{m, 50}, {2 * m, 0.5}, {3 * m, 49}}, false},
		{"in the air, then low", []heard{{m, 50}, {2 * m, 0.5}, {3 * m, 30}}, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := newTestProbe()
			for _, h := range c.heard {
				p.hear(h.at, h.level)
			}
			require.Equal(t, c.out, p.excluded || p.outside)
		})
	}
}

func TestExclusionSurvivesLongAndEndsByAcknowledgement(t *testing.T) {
	p := newTestProbe()
	p.hear(m, 50)
	_, changed := p.hear(2*m, 30)
	require.True(t, changed)
	for at := 3 * m; at < 3*time.Hour; at += m {
		_, changed = p.hear(at, 30)
		require.False(t, changed)
	}
	require.True(t, p.excluded, "standing low for hours makes it no more plausible")
	p.forget()
	p.hear(181*m, 30)
	require.False(t, p.counts(181*m), "it counts from its second reading on")
	p.hear(182*m, 30)
	require.True(t, p.counts(182*m))
}

func TestLive(t *testing.T) {
	p := newTestProbe()
	require.False(t, p.counts(m))
	p.hear(m, 40)
	require.False(t, p.counts(m), "one reading proves nothing")
	p.hear(2*m, 40)
	require.True(t, p.counts(2*m))
	require.True(t, p.counts(5*m), "3 min old is fresh")
	require.False(t, p.counts(5*m+1), "older is not")
	p.hear(6*m, 40)
	require.False(t, p.counts(6*m), "after a loss it counts from its second reading")
	p.hear(7*m, 40)
	require.True(t, p.counts(7*m))
}

func TestRetainedIsNoEvidence(t *testing.T) {
	p := newTestProbe()
	for i := range 5 {
		taken, _ := p.take(&Reading{Moisture: 40000, HasMoisture: true, Retained: true}, time.Duration(i)*m)
		require.False(t, taken)
	}
	require.False(t, p.heard)
}

func TestStamps(t *testing.T) {
	const epoch = 1_800_000_000 * time.Second
	p := newTestProbe()
	require.True(t, p.hearStamped(m, epoch, 40))
	require.False(t, p.counts(m))
	require.True(t, p.hearStamped(2*m, epoch+m, 40))
	require.False(t, p.counts(2*m), "one advance is not enough")
	require.True(t, p.hearStamped(3*m, epoch+2*m, 40))
	require.True(t, p.counts(3*m), "the second advance is")
	require.False(t, p.hearStamped(4*m, epoch+2*m, 40), "a stamp that stands still is a repeat")
	require.False(t, p.hearStamped(4*m, epoch, 40), "an older stamp is a replay")
	require.False(t, p.counts(6*m+1), "repeats keep nothing alive")
}

func TestLateReadingsAreOld(t *testing.T) {
	const epoch = 1_800_000_000 * time.Second
	p := newTestProbe()
	for i := range 5 {
		p.hearStamped(time.Duration(i+1)*m, epoch+time.Duration(i)*m, 40)
	}
	require.Equal(t, time.Duration(0), p.age(5*m))
	// An outage of ten minutes, then what was queued comes in a burst.
	p.hearStamped(15*m, epoch+5*m, 40)
	p.hearStamped(15*m+time.Second, epoch+6*m, 40)
	p.hearStamped(15*m+2*time.Second, epoch+7*m, 40)
	require.Equal(t, 7*m+2*time.Second, p.age(15*m+2*time.Second))
	require.False(t, p.counts(15*m+2*time.Second))
}

func TestSenderClockTenYearsOff(t *testing.T) {
	p := newTestProbe()
	for i := range 3 {
		p.hearStamped(time.Duration(i+1)*m, 10*365*24*time.Hour+time.Duration(i)*m, 40)
	}
	require.True(t, p.counts(3*m), "stamps are never compared with our clock")
}

func testZone(how Combine, quorum int, levels ...float64) (*zone, time.Duration) {
	z := &zone{cfg: &Zone{Moisture: Moisture{Combine: how, Quorum: quorum}}}
	for _, l := range levels {
		p := newTestProbe()
		p.hear(m, l)
		p.hear(2*m, l)
		z.probes = append(z.probes, p)
	}
	return z, 2 * m
}

func TestCombine(t *testing.T) {
	for _, c := range []struct {
		how    Combine
		levels []float64
		want   Level
	}{
		{Median, []float64{40, 44, 42}, 42000},
		{Median, []float64{40, 44, 42, 43}, 42500},
		{Mean, []float64{40, 44, 42, 43}, 42250},
		{Trimmed, []float64{40, 49, 42, 43}, 42500},
		{Trimmed, []float64{40, 42}, 41000},
		{Driest, []float64{40, 44, 42}, 40000},
		{Wettest, []float64{40, 44, 42}, 44000},
		{Median, []float64{40, 50}, 45000},
		{Median, []float64{40, 50.001}, 50001},
		{Driest, []float64{40, 50.001}, 50001},
		{Median, []float64{40, 41, 51}, 41000},
		{Median, []float64{40, 41, 51.001}, 40500},
		{Wettest, []float64{40, 41, 60}, 60000},
		{Driest, []float64{20, 41, 42}, 41000},
	} {
		z, at := testZone(c.how, 1, c.levels...)
		e := z.estimate(at)
		require.True(t, e.known)
		require.Equal(t, c.want, e.value, "%s of %v", c.how, c.levels)
	}
}

func TestQuorum(t *testing.T) {
	z, at := testZone(Median, 2, 40, 41, 60)
	e := z.estimate(at)
	require.True(t, e.known, "an outlier leaves two")
	require.True(t, e.disagree)
	require.Equal(t, 2, e.count)

	z, at = testZone(Median, 3, 40, 41, 60)
	e = z.estimate(at)
	require.False(t, e.known, "an outlier is no part of the quorum")
	require.Equal(t, ProbesImplausible, e.cause(3))

	z, at = testZone(Median, 3, 40, 41)
	z.probes = append(z.probes, newTestProbe())
	e = z.estimate(at)
	require.False(t, e.known)
	require.Equal(t, ProbesLost, e.cause(3))
}

func TestIgnoredProbeCountsForNothing(t *testing.T) {
	z, at := testZone(Median, 2, 40, 41, 42)
	z.probes[0].ignoredTo = at + m
	e := z.estimate(at)
	require.Equal(t, 2, e.assigned)
	require.Equal(t, Level(41500), e.value)
	require.Equal(t, 3, func() int { e := z.estimate(at + m); return e.assigned }())
}

func TestHalfWidth(t *testing.T) {
	// Student's t for 3 degrees of freedom is 3.182 (NIST/SEMATECH e-Handbook
	// 1.3.6.7.2): mean 41.5, s = 1.29099, s/sqrt(4) = 0.645497, times 3.182.
	h, ok := halfWidth([]float64{40, 41, 42, 43})
	require.True(t, ok)
	require.InDelta(t, 2.05397, h, 1e-4)
	_, ok = halfWidth([]float64{40})
	require.False(t, ok)
}
