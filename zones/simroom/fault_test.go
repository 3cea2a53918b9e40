package simroom

import (
	"strings"
	"testing"
	"time"

	"rillgate/zones"

	"github.com/stretchr/testify/require"
)

// faulty gives a room with one fault, from 10 min to 40 min.
func faulty(t *testing.T, p *zones.Plan, f Fault) *hand {
	t.Helper()
	o := still()
	o.MeterAll = true
	f.At, f.For = 10*time.Minute, 30*time.Minute
	o.Faults = []Fault{f}
	return newHand(t, newRoom(t, p, o))
}

func TestFaultNeedsItsSubject(t *testing.T) {
	for _, f := range []Fault{
		{Kind: ProbeLost, Subject: "nobody"}, {Kind: ProbesSwapped, Subject: "z1-0", Other: "nobody"},
		{Kind: ValveStuckOpen, Subject: "z9"}, {Kind: BedLeak, Subject: "z9"}, {Kind: SupplyDry, Subject: "z1"},
		{Kind: InputActive, Subject: "south/floor"}, {Kind: Reboot, Subject: "south"}, {Kind: "no such kind"},
	} {
		_, err := New(testPlan(1, 1), Options{Faults: []Fault{f}})
		require.Error(t, err, f.Kind)
	}
}

// Every kind of fault is told in words, and can begin and end.
func TestEveryFaultIsTold(t *testing.T) {
	subjects := map[string]Fault{
		"probe": {Subject: "z1-0", Other: "z1-1"}, "valve": {Subject: "z1"}, "emitters": {Subject: "z1"}, "bed": {Subject: "z1"},
		"supply": {Subject: "feed"}, "tank": {Subject: "feed"}, "input": {Subject: "floor"}, "output": {Subject: "z1"},
		"hoses": {Subject: "z1", Other: "z2"},
		"one":   {Subject: "z1", Other: "z2"}, "cross": {Subject: "z1", Other: "z2", Value: 0.5},
	}
	require.Len(t, tellings, 26)
	for kind, words := range tellings {
		head, _, _ := strings.Cut(strings.Replace(string(kind), "probes", "probe", 1), "-")
		f, ok := subjects[head]
		if !ok {
			f = Fault{Subject: "north"}
		}
		f.Kind, f.At, f.For = kind, time.Minute, time.Minute
		r := newRoom(t, testPlan(2, 2), Options{Faults: []Fault{f}})
		r.Advance(time.Hour)
		require.Len(t, r.Happened(), 2, kind)
		for i, h := range r.Happened() {
			require.Equal(t, i == 0, h.Begun)
			require.NotContains(t, h.String(), "%")
			require.NotContains(t, h.String(), "&")
			require.Contains(t, h.String(), f.Subject)
		}
		require.NotEqual(t, words[0], words[1])
	}
	require.Equal(t, "probes a and b are swapped", Happening{Fault: Fault{Kind: ProbesSwapped, Subject: "a", Other: "b"}, Begun: true}.String())
	require.Equal(t, "other x", Happening{Fault: Fault{Kind: "other", Subject: "x"}}.String())
}

func TestProbeLostAndFound(t *testing.T) {
	h := faulty(t, testPlan(1, 2), Fault{Kind: ProbeLost, Subject: "z1-0"})
	require.Len(t, readings(h.to(10*time.Minute), "0"), 10)
	outs := h.to(40 * time.Minute)
	require.Empty(t, readings(outs, "0"))
	require.Len(t, readings(outs, "1"), 30)
	require.Len(t, readings(h.to(50*time.Minute), "0"), 10)
	all := h.r.Happened()
	require.Len(t, all, 2)
	require.Equal(t, "probe z1-0 falls silent", all[0].String())
	require.Equal(t, 40*time.Minute, all[1].At)
	require.Equal(t, "probe z1-0 is found again", all[1].String())
}

func TestProbeStuck(t *testing.T) {
	for _, value := range []float64{0, 77} {
		h := faulty(t, testPlan(1, 1), Fault{Kind: ProbeStuck, Subject: "z1-0", Value: value})
		before := readings(h.to(10*time.Minute), "0")
		want := before[len(before)-1].Moisture
		if value > 0 {
			want = 77000
		}
		h.shot(1, "a", 5*time.Minute)
		var last time.Duration
		for _, m := range readings(h.to(40*time.Minute), "0") {
			require.Equal(t, want, m.Moisture)
			require.Greater(t, m.At, last, "its stamps go on")
			last = m.At
		}
		after := readings(h.to(50*time.Minute), "0")
		require.Greater(t, after[0].Moisture, before[0].Moisture, "then it sees the shot")
	}
}

func TestProbeInAir(t *testing.T) {
	h := faulty(t, testPlan(1, 1), Fault{Kind: ProbeInAir, Subject: "z1-0"})
	require.Greater(t, readings(h.to(10*time.Minute), "0")[9].Moisture, zones.Level(50000))
	for _, m := range readings(h.to(40*time.Minute), "0") {
		require.Equal(t, zones.Level(2000), m.Moisture)
		require.Zero(t, m.EC)
	}
	require.Greater(t, readings(h.to(50*time.Minute), "0")[0].Moisture, zones.Level(50000))
}

func TestProbeReplays(t *testing.T) {
	h := faulty(t, testPlan(1, 1), Fault{Kind: ProbeReplays, Subject: "z1-0", Value: 5})
	before := readings(h.to(10*time.Minute), "0")
	again := readings(h.to(40*time.Minute), "0")
	require.Len(t, again, 30)
	for i, m := range again {
		old := before[5+i%5]
		require.Equal(t, old.At, m.At)
		require.Equal(t, old.Moisture, m.Moisture)
	}
	require.Greater(t, readings(h.to(50*time.Minute), "0")[0].At, before[9].At)
}

func TestProbeRestamps(t *testing.T) {
	h := faulty(t, testPlan(1, 1), Fault{Kind: ProbeRestamps, Subject: "z1-0", Value: 5})
	before := readings(h.to(10*time.Minute), "0")
	last := before[9].At
	for i, m := range readings(h.to(40*time.Minute), "0") {
		require.Equal(t, before[5+i%5].Moisture, m.Moisture)
		require.Greater(t, m.At, last)
		last = m.At
	}
}

func TestProbesSwapped(t *testing.T) {
	p := testPlan(2, 1)
	p.Probes[1].Place.Address = "9"
	h := faulty(t, p, Fault{Kind: ProbesSwapped, Subject: "z1-0", Other: "z2-0"})
	h.shot(1, "a", 9*time.Minute)
	wet, dry := readings(h.to(10*time.Minute), "0"), readings(h.got, "9")
	require.Greater(t, wet[0].Moisture, dry[0].Moisture+5000)
	h.to(40 * time.Minute)
	require.Less(t, readings(h.got, "0")[5].Moisture+5000, readings(h.got, "9")[5].Moisture)
	h.to(50 * time.Minute)
	require.Greater(t, readings(h.got, "0")[5].Moisture, readings(h.got, "9")[5].Moisture+5000)
}

func TestProbeDrifts(t *testing.T) {
	o := still()
	o.Zones = map[string]ZoneOptions{"z1": {UptakeDayLPH: -1, UptakeNightLPH: -1, EvaporationLPH: -1}}
	o.Faults = []Fault{{Kind: ProbeDrifts, Subject: "z1-0", At: time.Hour, For: 2 * time.Hour, Value: 1.5}}
	h := newHand(t, newRoom(t, testPlan(1, 2), o))
	last := func(address string) float64 {
		all := readings(h.pass(time.Minute), address)
		return all[len(all)-1].Moisture.Float()
	}
	require.InDelta(t, 52, last("0"), 0.1)
	h.to(3*time.Hour - time.Minute)
	require.InDelta(t, 55, last("0"), 0.1)
	require.InDelta(t, 52, last("1"), 0.1, "its neighbour")
	h.pass(time.Minute)
	require.InDelta(t, 52, last("0"), 0.1, "put right")
}

func TestHosesSwapped(t *testing.T) {
	o := still()
	o.Faults = []Fault{{Kind: HosesSwapped, Subject: "z1", Other: "z2", For: time.Hour}}
	h := newHand(t, newRoom(t, testPlan(2, 1), o))
	h.shot(1, "a", time.Minute)
	require.Zero(t, h.truth("z1").Applied)
	require.InDelta(t, 48*4.0/60, h.truth("z2").Applied, 1e-9)
	h.to(time.Hour)
	h.shot(1, "b", time.Minute)
	require.InDelta(t, 48*4.0/60, h.truth("z1").Applied, 1e-9)
	require.InDelta(t, 48*4.0/60, h.truth("z2").Applied, 1e-9)
}

func TestValveStuckOpen(t *testing.T) {
	h := faulty(t, testPlan(1, 0), Fault{Kind: ValveStuckOpen, Subject: "z1"})
	h.shot(1, "a", 2*time.Minute)
	before := h.truth("z1").Applied
	h.to(20 * time.Minute)
	require.False(t, h.last.Outputs[0].Open, "its output is off")
	require.InDelta(t, 3.2, h.last.Outputs[0].FlowLPM, 1e-9, "and water runs")
	h.to(50 * time.Minute)
	require.InDelta(t, 30*3.2, h.truth("z1").Applied-before, 1e-9)
	require.Zero(t, h.last.Outputs[0].FlowLPM)
	require.Equal(t, []Interval{{0, 2 * time.Minute}}, h.r.Driven(out1))
	require.Equal(t, Interval{10 * time.Minute, 40 * time.Minute}, h.r.Opened(out1)[1])
}

func TestValveStuckClosed(t *testing.T) {
	h := faulty(t, testPlan(1, 0), Fault{Kind: ValveStuckClosed, Subject: "z1"})
	h.to(10 * time.Minute)
	h.open(1, "a", 2*time.Minute)
	h.pass(time.Minute)
	require.True(t, h.last.Outputs[0].Open, "its output is on")
	require.Zero(t, h.last.Outputs[0].FlowLPM, "and nothing runs")
	h.pass(time.Minute)
	require.Equal(t, Interval{10 * time.Minute, 12 * time.Minute}, h.r.Driven(out1)[0])
	require.Zero(t, h.truth("z1").Applied)
	require.Empty(t, h.r.Opened(out1))
	h.to(40 * time.Minute)
	h.shot(1, "b", 2*time.Minute)
	require.InDelta(t, 6.4, h.truth("z1").Applied, 1e-9)
}

func TestOutputWelded(t *testing.T) {
	h := faulty(t, testPlan(1, 0), Fault{Kind: OutputWelded, Subject: "z1"})
	n, rep := reports(h.to(10 * time.Minute))
	require.True(t, rep.Outputs[0].Open, "reported at once, %d reports", n)
	require.Equal(t, Acted, h.close(1, "x"))
	h.pass(0)
	require.True(t, h.last.Outputs[0].Open, "a close changes nothing")
	h.to(40 * time.Minute)
	require.False(t, h.last.Outputs[0].Open)
	require.InDelta(t, 30*3.2, h.truth("z1").Applied, 1e-9)
}

func TestOutputDead(t *testing.T) {
	h := faulty(t, testPlan(1, 0), Fault{Kind: OutputDead, Subject: "z1"})
	h.to(10 * time.Minute)
	require.Equal(t, Acted, h.open(1, "a", time.Minute))
	h.pass(0)
	require.False(t, h.last.Outputs[0].Open)
	h.to(50 * time.Minute)
	require.Zero(t, h.truth("z1").Applied)
}

func TestEmittersBlocked(t *testing.T) {
	h := faulty(t, testPlan(1, 2), Fault{Kind: EmittersBlocked, Subject: "z1-1", Value: 0.25})
	h.to(10 * time.Minute)
	h.shot(1, "a", 5*time.Minute)
	s := h.truth("z1").Spots
	require.InDelta(t, 52+5.128, s[0].Moisture, 0.1) // 5 min at 4 L/h on 6.5 L: own derivation
	require.InDelta(t, 52+5.128/4, s[1].Moisture, 0.1)
	require.InDelta(t, 3.2*5*(47.25/48), h.truth("z1").Applied, 1e-9)

	h = faulty(t, testPlan(1, 0), Fault{Kind: EmittersBlocked, Subject: "z1", Value: 0.5})
	h.to(10 * time.Minute)
	h.shot(1, "a", 5*time.Minute)
	require.InDelta(t, 8, h.truth("z1").Applied, 1e-9)
	h.to(40 * time.Minute)
	h.shot(1, "b", 5*time.Minute)
	require.InDelta(t, 24, h.truth("z1").Applied, 1e-9)
}

func TestBedLeak(t *testing.T) {
	h := faulty(t, testPlan(1, 0), Fault{Kind: BedLeak, Subject: "z1", Value: 100})
	h.to(50 * time.Minute)
	require.InDelta(t, 50, h.truth("z1").Leaked, 1e-9)
	require.Zero(t, h.truth("z1").Applied)
}

func TestSupplyDry(t *testing.T) {
	h := faulty(t, testPlan(1, 0), Fault{Kind: SupplyDry, Subject: "feed"})
	h.to(10 * time.Minute)
	h.shot(1, "a", 5*time.Minute)
	require.Zero(t, h.truth("z1").Applied)
	require.False(t, h.in["tank-low"])
}

func TestTankLow(t *testing.T) {
	h := faulty(t, testPlan(1, 0), Fault{Kind: TankLow, Subject: "feed"})
	require.False(t, h.in["tank-low"])
	h.to(10 * time.Minute)
	require.True(t, h.in["tank-low"], "at once on change")
	h.to(40 * time.Minute)
	require.False(t, h.in["tank-low"])
}

func TestInputActiveAndSilent(t *testing.T) {
	h := faulty(t, testPlan(1, 0), Fault{Kind: InputActive, Subject: "floor"})
	h.to(10 * time.Minute)
	require.True(t, h.in["floor"])
	h.to(40 * time.Minute)
	require.False(t, h.in["floor"])

	h = faulty(t, testPlan(1, 0), Fault{Kind: InputSilent, Subject: "north/floor"})
	h.to(11 * time.Minute)
	delete(h.in, "floor")
	h.to(39 * time.Minute)
	require.NotContains(t, h.in, "floor")
	require.Contains(t, h.in, "lamps")
	h.to(42 * time.Minute)
	require.Contains(t, h.in, "floor")
}

func TestReboot(t *testing.T) {
	h := faulty(t, testPlan(1, 1), Fault{Kind: Reboot, Subject: "north"})
	h.to(9 * time.Minute)
	require.Equal(t, Acted, h.open(1, "a", 14*time.Minute))
	h.pass(0)
	old := h.last
	outs := h.to(12 * time.Minute)
	require.Equal(t, &zones.Status{Controller: "north"}, outs[len(outs)-1].Event, "its will is the last word")
	require.Equal(t, NotReached, h.close(1, "a"))
	require.Equal(t, []Interval{{9 * time.Minute, 10 * time.Minute}}, h.r.Driven(out1))
	outs = h.to(40 * time.Minute)
	require.Equal(t, &zones.Status{Controller: "north", Online: true}, outs[0].Event)
	require.NotEqual(t, old.Boot, h.last.Boot)
	require.Zero(t, h.last.Uptime)
	require.Equal(t, [2]uint32{0, 0}, [2]uint32{h.last.Epoch, h.last.Seq})
	require.False(t, h.last.Outputs[0].Open)
	require.Equal(t, WrongBoot, h.r.Command(&zones.Command{
		Output: out1, Epoch: 1, Seq: 99, Run: "b", Open: true, Boot: old.Boot, UntilMS: time.Minute.Milliseconds(),
	}))
	require.NotEmpty(t, readings(h.to(42*time.Minute), "0"))
}

func TestOfflineGrantsRunOut(t *testing.T) {
	h := faulty(t, testPlan(1, 1), Fault{Kind: Offline, Subject: "north"})
	h.to(10*time.Minute - time.Second)
	require.Equal(t, Acted, h.open(1, "a", time.Minute))
	outs := h.to(39 * time.Minute)
	require.Equal(t, &zones.Status{Controller: "north"}, outs[len(outs)-1].Event)
	require.Equal(t, time.Minute, OpenTime(h.r.Opened(out1), 0, time.Hour))
	require.Equal(t, NotReached, h.close(1, "a"))
	boot := h.last.Boot
	outs = h.to(40 * time.Minute)
	require.Equal(t, &zones.Status{Controller: "north", Online: true}, outs[0].Event)
	require.Equal(t, boot, h.last.Boot, "the same boot goes on")
}

func TestReportsLost(t *testing.T) {
	h := faulty(t, testPlan(1, 1), Fault{Kind: ReportsLost, Subject: "north"})
	h.to(10*time.Minute - time.Second)
	outs := h.to(40*time.Minute - time.Second)
	n, _ := reports(outs)
	require.Zero(t, n)
	require.NotEmpty(t, readings(outs, "0"))
	n, _ = reports(h.to(41 * time.Minute))
	require.NotZero(t, n)
}

func TestClockRunsOff(t *testing.T) {
	h := faulty(t, testPlan(1, 0), Fault{Kind: ClockRunsOff, Subject: "north", Value: 2000})
	h.to(10 * time.Minute)
	require.Equal(t, time.Hour+10*time.Minute, h.last.Uptime)
	h.to(40 * time.Minute)
	require.InDelta(t, (time.Hour + 40*time.Minute + 3600*time.Millisecond).Seconds(), h.last.Uptime.Seconds(), 0.002)
	h.to(50 * time.Minute)
	require.InDelta(t, (time.Hour + 50*time.Minute + 3600*time.Millisecond).Seconds(), h.last.Uptime.Seconds(), 0.002)
}

func TestCutOffMissing(t *testing.T) {
	h := faulty(t, testPlan(1, 0), Fault{Kind: CutOffMissing, Subject: "north"})
	h.to(10 * time.Minute)
	h.open(1, "a", time.Minute)
	h.to(30 * time.Minute)
	require.True(t, h.last.Outputs[0].Open, "stays open past its deadline")
	require.Equal(t, Acted, h.close(1, "a"), "but obeys a close")
	h.open(1, "b", time.Minute)
	h.to(39 * time.Minute)
	require.True(t, h.last.Outputs[0].Open)
	h.to(40 * time.Minute)
	require.False(t, h.last.Outputs[0].Open, "drops once it has its cut-off again")

	o := still()
	o.NoCutOff = true
	h = newHand(t, newRoom(t, testPlan(1, 0), o))
	h.open(1, "a", time.Minute)
	h.to(30 * time.Minute)
	require.True(t, h.last.Outputs[0].Open)
}
