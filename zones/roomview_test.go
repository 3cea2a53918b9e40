package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func (g *rig) standing() (codes []Reason) {
	for _, s := range g.room.View(g.now).Standing {
		require.NotEmpty(g.t, s.Because, s.Code)
		codes = append(codes, s.Code)
	}
	return codes
}

// The view lists all that stands, in the interlocks' order, not only the first.
func TestViewListsEveryInterlockOfTheRoom(t *testing.T) {
	m := NewMemory()
	m.Clean = false
	for i := range crashLimit {
		m.Starts = append(m.Starts, time.Duration(i+1)*time.Second)
	}
	m.Age = time.Minute
	p := benchPlan(1, 2)
	p.Controllers[0].Inputs = []Input{{ID: "floor", Means: Leak}}
	g := rawRig(t, p, m)
	g.step(&BrokerLink{Up: false})
	g.now.Trusted = false
	g.step(&Tick{})
	require.Equal(t, []Reason{Starting, CrashLoop, BrokerLost, ClockUnsure}, g.standing())

	g.now.Trusted = true
	g.step(&BrokerLink{Up: true})
	g.run(40*time.Second, 45)
	g.step(&InputState{Controller: "north", ID: "floor", Active: true})
	g.order(Order{ID: "1", Kind: OrderStop})
	high := g.reportOf("north")
	high.Epoch += 5
	g.step(high)
	g.step(&RecordFailed{Seq: g.room.recSeq, Err: "disk full"})
	require.Equal(t, []Reason{SecondGateway, CrashLoop, StoppedByPerson, StoreFailed, LeakFound}, g.standing())
	for _, s := range g.room.View(g.now).Standing {
		require.Equal(t, s.Code != StoreFailed, s.Latched, s.Code)
		require.NotNil(t, s.Since, s.Code)
	}
}

func TestViewOfARoomAtRestListsNothing(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	require.Empty(t, g.standing())
}

// A view that is written over an older one says nothing of the older one.
func TestViewIntoAnOlderOne(t *testing.T) {
	g := newRig(t, benchPlan(2, 2))
	old := g.room.View(g.now)
	n := len(old.Zones)
	require.Positive(t, n)
	g.run(30*time.Second, 38)
	fresh := g.room.View(g.now)
	require.NotEqual(t, old, fresh)
	again := g.room.ViewInto(old, g.now)
	require.Equal(t, fresh, again)
	require.Same(t, &old.Zones[0], &again.Zones[0], "in the same place")
	require.Equal(t, fresh, g.room.ViewInto(View{}, g.now))
}

func TestViewOfASupply(t *testing.T) {
	p := benchPlan(2, 2)
	p.Supplies[0].MaxFlowLPH = 1200
	g := newRig(t, p)
	v := g.room.View(g.now).Supplies
	require.Len(t, v, 1)
	require.Equal(t, NoReason, v[0].Reason)
	require.Equal(t, []string{"a", "b"}, v[0].Zones)
	require.Equal(t, 20.0, v[0].MaxFlowLPM)
	require.Zero(t, v[0].Open)

	g.run(30*time.Second, 38) // both ask, one gets
	v = g.room.View(g.now).Supplies
	require.Equal(t, SupplyBusy, v[0].Reason)
	require.Equal(t, 1, v[0].Open)
	require.Len(t, v[0].Waiting, 1)
}

func TestViewOfASupplyThatIsLow(t *testing.T) {
	p := benchPlan(1, 2)
	p.Controllers[0].Inputs = []Input{{ID: "tank", Means: SupplyLow}}
	p.Supplies[0].Low = "tank"
	g := newRig(t, p)
	g.step(&InputState{Controller: "north", ID: "tank", Active: true})
	v := g.room.View(g.now).Supplies[0]
	require.Equal(t, SupplyIsLow, v.Reason)
	require.Contains(t, v.Because, "tank")
}
