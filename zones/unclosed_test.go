package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A close that gets lost begins no run after its rest: the valve may be open still, under the
// grant before, and its water would be in no book. The report that shows it closed lets it.
func TestCloseThatIsLostIsNoRest(t *testing.T) {
	p := benchPlan(1, 2)
	p.Lease, p.Supplies[0].MaxOpen, p.Zones[0].Limits.MinRest = LeaseMax, 2, MinRestFloor
	w := &p.Zones[0].Schedule.Windows[0]
	w.Rest, w.Shot.Value = MinRestFloor, 300
	g := rawRig(t, p, NewMemory())
	g.run(LeaseMax+20*time.Second, 45)
	g.wet(35)
	g.wet(35)
	run := g.room.zones[0].run
	require.NotNil(t, run)
	g.obey = false // commands are lost, reports come
	require.True(t, g.order(Order{Kind: OrderHold, Zone: "a", For: 5 * time.Second}).Accepted)
	began := g.now.Mono
	require.Empty(t, g.commands(g.run(90*time.Second, 35), true))
	z := g.zone("a")
	require.Equal(t, Waiting, z.State)
	require.Equal(t, Starting, z.Reason)
	require.Contains(t, z.Because, "no report of controller north shows yet that valve a is closed")
	hand := g.order(Order{Kind: OrderShot, Zone: "a", For: time.Minute})
	require.False(t, hand.Accepted)
	require.Equal(t, Starting, hand.Reason)

	g.open[Output{"north", 1}] = false // its deadline
	g.obey = true
	g.run(2*time.Second, 45)
	sum := time.Duration(0)
	for _, c := range g.room.mem.output(Output{"north", 1}).Charges {
		sum += c.Amount
	}
	require.GreaterOrEqual(t, sum, g.now.Mono-began-2*time.Second, "all that flowed is booked")
	g.wet(35)
	require.NotEmpty(t, g.commands(g.run(MinRestFloor+time.Second, 35), true))
}

// A valve that a plan brings to a controller that is ready opens when a report shows it
// closed at our word, and not before.
func TestValveThatAPlanBrings(t *testing.T) {
	for _, shown := range []bool{false, true} {
		g := newRig(t, benchPlan(1, 2))
		p := benchPlan(2, 2)
		p.Hash, p.Supplies[0].MaxOpen = "0001", 2
		g.obey = false
		g.step(&NewPlan{p})
		last := g.room.seq
		for range 150 {
			g.pass(time.Second)
			r := g.reportOf("north")
			if shown {
				r.Epoch, r.Seq = g.room.epoch, last
			} else {
				r.Outputs = r.Outputs[:1]
			}
			g.step(r)
			g.wet(35)
			g.step(&Tick{})
		}
		opened := false
		for _, c := range g.commands(g.got, true) {
			opened = opened || c.Output == Output{"north", 2}
		}
		require.Equal(t, shown, opened)
		if !shown {
			require.Equal(t, Starting, g.zone("b").Reason, g.zone("b").Because)
		}
	}
}

// A soak whose last run is not known to be closed waits for the report that shows it.
func TestSoakWaitsForTheClose(t *testing.T) {
	g := newRig(t, soakPlan(1, 2))
	require.True(t, g.order(Order{Kind: OrderSoak, Zone: "a", VolumeML: 1000}).Accepted)
	g.run(time.Minute, 45)
	z := g.room.zoneBy["a"]
	require.NotNil(t, z.run)
	rest := g.room.plan.Zones[0].Limits.MinRest
	for z.run != nil {
		g.run(time.Second, 45)
	}
	o := z.outs[0]
	o.confirmed, o.closeSeq, o.lastClose = false, g.room.seq+100, g.room.t // as if its close had been lost
	g.obey = false
	g.run(rest+10*time.Second, 45)
	require.NotNil(t, z.soak, "it waits")
	require.Nil(t, z.run)
	require.Equal(t, Soak, g.zone("a").Reason)
	g.obey = true
	g.seq = o.closeSeq
	g.run(10*time.Second, 45)
	require.NotNil(t, z.run)
}

// A valve that shows open behind a gap in its controller's reports is judged by the reports'
// own time: nothing is looked at before the next one comes.
func TestStuckBehindAGapIsNoBusyWait(t *testing.T) {
	for _, c := range []struct {
		up      time.Duration // of the controller, between two reports that show it open
		latched bool
	}{{mismatchAfter, false}, {mismatchAfter + 1, true}} {
		g := watering(t, benchPlan(1, 2))
		g.obey = false
		require.True(t, g.order(Order{Kind: OrderHold, Zone: "a", For: time.Hour}).Accepted)
		g.epoch, g.seq = g.room.epoch, g.room.seq // the close is acted on, and the valve is stuck
		first := g.reportOf("north")
		g.step(first)
		g.step(&Status{Controller: "north"})
		g.pass(2 * time.Second)
		g.step(&Tick{})
		again := g.reportOf("north")
		again.Uptime = first.Uptime + c.up
		g.step(again)
		require.Equal(t, c.latched, g.room.zoneBy["a"].latch(ValveMismatch) != nil)
		if !c.latched {
			require.Greater(t, g.room.Next()-g.now.Mono, 100*time.Millisecond)
		}
	}
}
