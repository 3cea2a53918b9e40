package simroom

import (
	"testing"
	"time"

	"rillgate/zones"

	"github.com/stretchr/testify/require"
)

func TestStartsClosedAndSilentOfCommands(t *testing.T) {
	r := newRoom(t, testPlan(2, 1), still())
	outs := r.Advance(0)
	require.Equal(t, &zones.Status{Controller: "north", Online: true}, outs[0].Event)
	n, rep := reports(outs)
	require.Positive(t, n)
	require.Equal(t, [2]uint32{0, 0}, [2]uint32{rep.Epoch, rep.Seq})
	require.Equal(t, []zones.OutputReport{{Number: 1, FlowLPM: -1}, {Number: 2, FlowLPM: -1}}, rep.Outputs)
	require.Equal(t, time.Hour, rep.Uptime)
	require.Len(t, rep.Boot, 8)
}

func TestReportsEveryFiveSeconds(t *testing.T) {
	h := newHand(t, newRoom(t, testPlan(1, 0), still()))
	n, _ := reports(h.pass(time.Minute))
	require.Equal(t, 12, n)
}

// A report may be written over once there were KeepReports later ones, and says what one
// that is never written over says.
func TestKeepReports(t *testing.T) {
	plain, ring := still(), still()
	ring.KeepReports = 3
	a, b := newHand(t, newRoom(t, testPlan(2, 0), plain)), newHand(t, newRoom(t, testPlan(2, 0), ring))
	var kept []*zones.Report
	for i := range 8 {
		a.pass(5 * time.Second)
		b.pass(5 * time.Second)
		if i == 4 {
			a.open(1, "r", time.Minute)
			b.open(1, "r", time.Minute)
		}
		require.Equal(t, a.last, b.last)
		kept = append(kept, b.last)
	}
	require.NotSame(t, kept[0], kept[1])
	require.NotSame(t, kept[0], kept[2])
	require.Same(t, kept[0], kept[3])
	require.NotEqual(t, a.last.Uptime, time.Hour+5*time.Second)
}

// command is one command against a controller that has acted on (5, 10) last, with
// output 2 open in run "old" and run "shut" closed on output 1.
func TestJudgesCommands(t *testing.T) {
	ahead := func(d time.Duration) int64 { return (time.Hour + d).Milliseconds() }
	cases := []struct {
		name string
		cmd  zones.Command
		want Verdict
	}{
		{"higher seq", zones.Command{Epoch: 5, Seq: 11, Open: true, Run: "new", UntilMS: ahead(time.Minute)}, Acted},
		{"higher epoch, lower seq", zones.Command{Epoch: 6, Seq: 1, Open: true, Run: "new", UntilMS: ahead(time.Minute)}, Acted},
		{"same pair", zones.Command{Epoch: 5, Seq: 10, Open: true, Run: "new", UntilMS: ahead(time.Minute)}, NotNewer},
		{"lower epoch, higher seq", zones.Command{Epoch: 4, Seq: 99, Open: true, Run: "new", UntilMS: ahead(time.Minute)}, NotNewer},
		{"close with a lower pair", zones.Command{Epoch: 5, Seq: 9, Run: "new"}, NotNewer},
		{"close", zones.Command{Epoch: 5, Seq: 11, Run: "new"}, Acted},
		{"close without a run", zones.Command{Epoch: 5, Seq: 11}, Acted},
		{"other boot", zones.Command{Epoch: 5, Seq: 11, Open: true, Run: "new", Boot: "00000000", UntilMS: ahead(time.Minute)}, WrongBoot},
		{"deadline now", zones.Command{Epoch: 5, Seq: 11, Open: true, Run: "new", UntilMS: ahead(0)}, Expired},
		{"deadline one millisecond ahead", zones.Command{Epoch: 5, Seq: 11, Open: true, Run: "new", UntilMS: ahead(time.Millisecond)}, Acted},
		{"15 min ahead", zones.Command{Epoch: 5, Seq: 11, Open: true, Run: "new", UntilMS: ahead(15 * time.Minute)}, Acted},
		{"more", zones.Command{Epoch: 5, Seq: 11, Open: true, Run: "new", UntilMS: ahead(15*time.Minute + time.Millisecond)}, TooFarAhead},
		{"a run that was closed", zones.Command{Epoch: 5, Seq: 11, Open: true, Run: "shut", UntilMS: ahead(time.Minute)}, RunClosed},
		{"that run on another output", zones.Command{Output: zones.Output{Number: 2}, Epoch: 5, Seq: 11, Open: true, Run: "shut", UntilMS: ahead(time.Minute)}, Acted},
		{"no such output", zones.Command{Output: zones.Output{Number: 7}, Epoch: 5, Seq: 11}, NoOutput},
		{"no run to open", zones.Command{Epoch: 5, Seq: 11, Open: true, UntilMS: ahead(time.Minute)}, OutOfRange},
		{"epoch too high", zones.Command{Epoch: 1 << 31, Seq: 11}, OutOfRange},
		{"seq too high", zones.Command{Epoch: 5, Seq: 1 << 31}, OutOfRange},
		{"highest of both", zones.Command{Epoch: 1<<31 - 1, Seq: 1<<31 - 1}, Acted},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			h := newHand(t, newRoom(t, testPlan(2, 0), still()))
			h.prepare()
			before := h.r.controllers[0].outs[0].on
			c.cmd.Output.Controller = "north"
			if c.cmd.Output.Number == 0 {
				c.cmd.Output.Number = 1
			}
			if c.cmd.Boot == "" {
				c.cmd.Boot = h.last.Boot
			}
			require.Equal(t, c.want, h.r.Command(&c.cmd))
			n, rep := reports(h.pass(0))
			if c.want != Acted {
				require.Zero(t, n, "a report only after a command acted on")
				require.Equal(t, before, h.r.controllers[0].outs[0].on)
				return
			}
			require.Equal(t, 1, n)
			require.Equal(t, [2]uint32{c.cmd.Epoch, c.cmd.Seq}, [2]uint32{rep.Epoch, rep.Seq})
			o := rep.Outputs[c.cmd.Output.Number-1]
			require.Equal(t, c.cmd.Open, o.Open)
			if c.cmd.Open {
				require.Equal(t, c.cmd.Run, o.Run)
			}
		})
	}
}

// prepare brings the controller to (5, 10) with run "shut" closed on output 1 and run
// "old" open on output 2.
func (h *hand) prepare() {
	h.t.Helper()
	until := (time.Hour + time.Minute).Milliseconds()
	for _, c := range []zones.Command{
		{Output: out1, Epoch: 5, Seq: 8, Run: "shut", Open: true, Boot: h.last.Boot, UntilMS: until},
		{Output: out1, Epoch: 5, Seq: 9, Run: "shut"},
		{Output: zones.Output{Controller: "north", Number: 2}, Epoch: 5, Seq: 10, Run: "old", Open: true, Boot: h.last.Boot, UntilMS: until},
	} {
		require.Equal(h.t, Acted, h.r.Command(&c))
	}
	h.pass(0)
}

func TestUnknownControllerIsNotReached(t *testing.T) {
	r := newRoom(t, testPlan(1, 0), still())
	require.Equal(t, NotReached, r.Command(&zones.Command{Output: zones.Output{Controller: "south", Number: 1}, Epoch: 1, Seq: 1}))
}

func TestRefusedOpeningMayAdvanceThePair(t *testing.T) {
	o := still()
	o.RefusedAdvances = true
	h := newHand(t, newRoom(t, testPlan(2, 0), o))
	h.prepare()
	h.seq = 10
	require.Equal(t, RunClosed, h.r.Command(&zones.Command{
		Output: out1, Epoch: 5, Seq: 11, Run: "shut", Open: true, Boot: h.last.Boot, UntilMS: (time.Hour + time.Minute).Milliseconds(),
	}))
	_, rep := reports(h.pass(0))
	require.Equal(t, uint32(11), rep.Seq)
	require.False(t, rep.Outputs[0].Open)
}

func TestDropsAtItsDeadline(t *testing.T) {
	for _, lag := range []time.Duration{-1, 80 * time.Millisecond} {
		o := still()
		o.CutOffLag, o.CrystalPPM = lag, 50
		h := newHand(t, newRoom(t, testPlan(1, 0), o))
		h.pass(1234 * time.Millisecond)
		require.Equal(t, Acted, h.open(1, "a", 30*time.Second))
		n, rep := reports(h.pass(0))
		require.Equal(t, 1, n)
		require.True(t, rep.Outputs[0].Open)
		outs := h.pass(time.Minute)
		runs := h.r.Driven(out1)
		require.Len(t, runs, 1)
		require.InDelta(t, 30, (runs[0].To - runs[0].From - max(lag, 0)).Seconds(), 0.003)
		closed := 0
		for _, o := range outs {
			if m, ok := o.Event.(*zones.Report); ok && !m.Outputs[0].Open && o.At == runs[0].To {
				closed++
			}
		}
		require.Equal(t, 1, closed, "a report at once when it drops")
		require.Equal(t, RunClosed, h.open(1, "a", 30*time.Second), "a late renewal never reopens")
		require.Equal(t, Acted, h.open(1, "b", 30*time.Second))
	}
}

func TestRenewalMovesTheDeadline(t *testing.T) {
	h := newHand(t, newRoom(t, testPlan(1, 0), still()))
	h.open(1, "a", 30*time.Second)
	h.pass(10 * time.Second)
	h.open(1, "a", 30*time.Second)
	h.pass(10 * time.Second)
	h.open(1, "a", 5*time.Second) // a renewal may also shorten
	h.pass(time.Minute)
	require.Equal(t, []Interval{{0, 25 * time.Second}}, h.r.Driven(out1))
	require.Equal(t, 25*time.Second, OpenTime(h.r.Opened(out1), 0, time.Hour))
	require.Equal(t, 5*time.Second, OpenTime(h.r.Opened(out1), 20*time.Second, time.Hour))
}

func TestRunClosedBeforeItCameNeverOpens(t *testing.T) {
	h := newHand(t, newRoom(t, testPlan(1, 0), still()))
	require.Equal(t, Acted, h.close(1, "a"))
	require.Equal(t, RunClosed, h.open(1, "a", time.Minute))
	h.open(1, "b", time.Minute)
	h.close(1, "other") // closes whatever is open
	require.Equal(t, RunClosed, h.open(1, "b", time.Minute))
}

func TestMeterShowsWhatFlows(t *testing.T) {
	o := still()
	o.MeterAll = true
	h := newHand(t, newRoom(t, testPlan(1, 0), o))
	h.open(1, "a", time.Minute)
	h.pass(0)
	require.InDelta(t, 48*2*2/60.0, h.last.Outputs[0].FlowLPM, 1e-9)
	h.close(1, "a")
	h.pass(0)
	require.Zero(t, h.last.Outputs[0].FlowLPM)
}

func TestMasterHoldsTheWaterBack(t *testing.T) {
	p := testPlan(1, 0)
	p.Supplies[0].Master = &zones.Master{Output: zones.Output{Controller: "north", Number: 8}, Kind: zones.MasterValve}
	o := still()
	o.MeterAll = true
	h := newHand(t, newRoom(t, p, o))
	h.open(1, "a", 10*time.Minute)
	h.pass(5 * time.Minute)
	require.Zero(t, h.truth("z1").Applied)
	h.open(8, "a", 10*time.Minute)
	h.pass(0)
	require.InDelta(t, 3.2, h.last.Outputs[1].FlowLPM, 1e-9)
	h.pass(5 * time.Minute)
	require.InDelta(t, 16, h.truth("z1").Applied, 1e-9)
}

func TestInputs(t *testing.T) {
	o := still()
	o.Start = at("05:58")
	h := newHand(t, newRoom(t, testPlan(1, 0), o))
	require.Equal(t, map[string]bool{"tank-low": false, "floor": false, "lamps": false}, h.in)
	count := func(outs []Out, id string) (n int) {
		for _, o := range outs {
			if m, ok := o.Event.(*zones.InputState); ok && m.ID == id {
				n++
			}
		}
		return n
	}
	require.Equal(t, 1, count(h.pass(time.Minute), "floor"), "every 60 s")
	outs := h.pass(61 * time.Second)
	require.True(t, h.in["lamps"], "on change, at lights on")
	require.GreaterOrEqual(t, count(outs, "lamps"), 1)
	require.True(t, h.r.LightsOn())
}

func TestAnnounceSaysAllAgain(t *testing.T) {
	h := newHand(t, newRoom(t, testPlan(1, 0), still()))
	h.pass(time.Second)
	require.True(t, h.r.Announce("north"))
	require.False(t, h.r.Announce("south"))
	require.Equal(t, h.r.Now(), h.r.Next(), "what waits is due at once")
	outs := h.pass(0)
	require.Equal(t, &zones.Status{Controller: "north", Online: true}, outs[0].Event)
	require.Len(t, outs, 1+3+1)
}
