package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/schedule"
)

// Every order that cannot be carried out is refused with what would be right, and
// does nothing.
func TestOrdersThatAreRefused(t *testing.T) {
	place := Place{"north", 1, "0"}
	for name, c := range map[string]struct {
		order Order
		says  string
	}{
		"unknown kind":         {Order{Kind: "fly"}, "not built yet"},
		"hold of no zone":      {Order{Kind: OrderHold, Zone: "z"}, "the zones are a, b"},
		"hold before now":      {Order{Kind: OrderHold, Zone: "a", For: -time.Minute}, "up to 24 h"},
		"hold of two days":     {Order{Kind: OrderHold, Zone: "a", For: 48 * time.Hour}, "up to 24 h"},
		"release of no zone":   {Order{Kind: OrderRelease, Zone: "z"}, "no zone"},
		"release without hold": {Order{Kind: OrderRelease, Zone: "a"}, "not held"},
		"shot for no zone":     {Order{Kind: OrderShot, Zone: "z"}, "no zone"},
		"shot before now":      {Order{Kind: OrderShot, Zone: "a", For: -time.Second}, "over zero"},
		"shot of less":         {Order{Kind: OrderShot, Zone: "a", VolumeML: -1}, "over zero"},
		"shot of a blink":      {Order{Kind: OrderShot, Zone: "a", For: ShortestRun - 1}, "so soon"},
		"stop of no zone":      {Order{Kind: OrderStop, Zone: "z"}, "no zone"},
		"reset of nothing":     {Order{Kind: OrderReset, Subject: "z"}, "nothing called"},
		"reset of no budget":   {Order{Kind: OrderReset, Subject: "budget"}, "say whose budget"},
		"assign no probe":      {Order{Kind: OrderAssign, Subject: "p", Zone: "a"}, "no probe"},
		"assign to no zone":    {Order{Kind: OrderAssign, Subject: "a0", Zone: "z"}, "no zone"},
		"assign what a file":   {Order{Kind: OrderAssign, Subject: "a0", Zone: "b"}, "it leads"},
		"ignore no probe":      {Order{Kind: OrderIgnore, Subject: "p", For: time.Hour}, "no probe"},
		"ignore for no time":   {Order{Kind: OrderIgnore, Subject: "a0"}, "up to 30 days"},
		"ignore for 31 days":   {Order{Kind: OrderIgnore, Subject: place.String(), For: 31 * day}, "up to 30 days"},
		"acknowledge nothing":  {Order{Kind: OrderAcknowledge, Subject: "nothing"}, "to acknowledge"},
	} {
		t.Run(name, func(t *testing.T) {
			g := newRig(t, benchPlan(2, 2))
			before := g.room.recSeq
			a := g.order(c.order)
			require.False(t, a.Accepted)
			require.Contains(t, a.Because, c.says)
			require.Equal(t, before, g.room.recSeq, "a refused order is remembered nowhere")
		})
	}
}

// What a valve could not follow is refused, one second is not.
func TestShortestRun(t *testing.T) {
	g := newRig(t, soakPlan(1, 2))
	a := g.order(Order{ID: "1", Kind: OrderSoak, Zone: "a", VolumeML: 1})
	require.False(t, a.Accepted)
	require.Contains(t, a.Because, "no valve opens and closes so soon")
	require.True(t, g.order(Order{ID: "2", Kind: OrderShot, Zone: "a", For: ShortestRun}).Accepted)
}

// A zone may be named as the subject too, and the room by its own id.
func TestOrdersNameTheirZoneEitherWay(t *testing.T) {
	g := newRig(t, benchPlan(2, 2))
	require.True(t, g.order(Order{Kind: OrderHold, Subject: "a", For: time.Hour}).Accepted)
	require.True(t, g.order(Order{Kind: OrderRelease, Subject: "a"}).Accepted)
	require.True(t, g.order(Order{Kind: OrderStop, Subject: "a"}).Accepted)
	require.Equal(t, Stopped, g.zone("a").State)
	require.NotEqual(t, Stopped, g.zone("b").State, "one zone is stopped, not the room")
	require.True(t, g.order(Order{Kind: OrderReset, Zone: "a"}).Accepted)
	require.True(t, g.order(Order{Kind: OrderStop}).Accepted)
	require.True(t, g.order(Order{Kind: OrderReset, Subject: "bay"}).Accepted)
	require.True(t, g.order(Order{Kind: OrderStop}).Accepted)
	require.True(t, g.order(Order{Kind: OrderReset}).Accepted)
	require.Empty(t, g.room.mem.Latches)
}

// What MQTT held, MQTT releases; what the box held, only the box.
func TestHoldIsReleasedWhereItWasSet(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	require.True(t, g.order(Order{Kind: OrderHold, Zone: "a", Source: "mqtt"}).Accepted)
	require.True(t, g.order(Order{Kind: OrderRelease, Zone: "a", Source: "mqtt"}).Accepted)
	require.True(t, g.order(Order{Kind: OrderHold, Zone: "a", Source: "socket"}).Accepted)
	require.False(t, g.order(Order{Kind: OrderRelease, Zone: "a", Source: "mqtt"}).Accepted)
	require.Equal(t, Held, g.zone("a").State)
	require.True(t, g.order(Order{Kind: OrderRelease, Zone: "a", Source: "socket"}).Accepted)
}

// A shot by hand waits for nobody: it is refused while the supply is taken, also by a
// zone that only waits.
func TestShotByHandDoesNotOvertake(t *testing.T) {
	p := benchPlan(3, 2)
	g := newRig(t, p)
	require.True(t, g.order(Order{Kind: OrderShot, Zone: "a", For: 2 * time.Minute}).Accepted)
	g.run(2*time.Second, 45)
	a := g.order(Order{Kind: OrderShot, Zone: "a", For: time.Minute})
	require.Equal(t, SupplyBusy, a.Reason, "it is being watered")
	a = g.order(Order{Kind: OrderShot, Zone: "b", For: time.Minute})
	require.Equal(t, SupplyBusy, a.Reason)
	require.Contains(t, a.Because, "serves a")

	p = benchPlan(3, 2) // b draws more than the supply has left while a runs, and waits
	p.Supplies[0].MaxOpen, p.Supplies[0].MaxFlowLPH = 3, 80
	p.Zones[1].Plants = 20
	g = newRig(t, p)
	require.True(t, g.order(Order{Kind: OrderShot, Zone: "a", For: 5 * time.Minute}).Accepted)
	for range 3 {
		g.run(10*time.Second, 0)
		for _, pr := range p.Probes {
			level := 45000
			if pr.Zone == "b" {
				level = 35000
			}
			g.step(&Reading{Place: pr.Place, Moisture: Level(level), HasMoisture: true})
		}
	}
	require.True(t, g.room.zoneBy["b"].waiting)
	require.False(t, g.room.busy(g.room.zoneBy["c"]), "the supply could carry c")
	a = g.order(Order{Kind: OrderShot, Zone: "c", For: time.Minute})
	require.Equal(t, SupplyBusy, a.Reason, "b waits longer")
}

// Without emitters a volume cannot become a time, by hand or by a window.
func TestZoneWithoutEmittersWantsALength(t *testing.T) {
	p := benchPlan(1, 2)
	p.Zones[0].EmitterLPH = 0
	p.Zones[0].Schedule.Windows[0].Shot = schedule.Shot{Kind: schedule.ByMillilitres, Value: 100}
	g := newRig(t, p)
	g.run(30*time.Second, 35)
	require.False(t, g.room.zoneBy["a"].ask.on, "the window's shot cannot be reckoned")
	require.Contains(t, g.order(Order{Kind: OrderShot, Zone: "a", VolumeML: 100}).Because, "give a length instead")
	require.Contains(t, g.order(Order{Kind: OrderShot, Zone: "a"}).Because, "give a length")
	require.True(t, g.order(Order{Kind: OrderShot, Zone: "a", For: time.Minute}).Accepted)
}

func TestRunTimeNeedsItsNumbers(t *testing.T) {
	z := benchPlan(1, 0).Zones[0]
	d, ok := z.RunTime(schedule.Shot{Kind: schedule.ByMillilitres, Value: 100.0001})
	require.True(t, ok)
	require.Equal(t, 90001*time.Millisecond, d, "100.0001 mL at 4 L/h are 90.00009 s, up to the next whole one")
	_, ok = z.RunTime(schedule.Shot{Kind: schedule.ByMillilitres})
	require.False(t, ok)
	z.VolumeML = 0
	_, ok = z.RunTime(schedule.Shot{Kind: schedule.ByPercent, Value: 3})
	require.False(t, ok, "the substrate's volume is not known")
	z.VolumeML, z.EmittersEach = 6500, 0
	_, ok = z.RunTime(schedule.Shot{Kind: schedule.ByPercent, Value: 3})
	require.False(t, ok)
}

// An acknowledgement may name the alarm, its subject, or both.
func TestAcknowledgeByEveryName(t *testing.T) {
	for _, name := range []string{"", "a", "over-wet", "over-wet-a"} {
		g := newRig(t, benchPlan(2, 2))
		g.run(30*time.Second, 80)
		require.False(t, g.room.alarm(OverWet, "a").acked)
		require.True(t, g.order(Order{Kind: OrderAcknowledge, Subject: name}).Accepted, name)
		require.True(t, g.room.alarm(OverWet, "a").acked, name)
		require.Equal(t, name == "" || name == "over-wet", g.room.alarm(OverWet, "b").acked, name)
	}
}

// A probe that read what cannot be starts afresh when it is acknowledged.
func TestAcknowledgeAProbe(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	g.step(&Reading{Place: Place{"north", 1, "0"}, Moisture: 99000, HasMoisture: true})
	require.True(t, g.room.probeByID("a0").outside)
	require.True(t, g.order(Order{Kind: OrderAcknowledge, Subject: "north/1/0"}).Accepted)
	require.False(t, g.room.probeByID("a0").heard)
	require.Equal(t, ProbeLost, g.room.probeByID("a0").quality(g.room.t))
}

// TestWhatALedgerCannotKeepIsSaid: an order that takes effect on a failed disk is told to
// be gone with the next start; one that keeps nothing is not.
func TestWhatALedgerCannotKeepIsSaid(t *testing.T) {
	const forgets = "a restart forgets it"
	g := newRig(t, benchPlan(2, 2))
	g.run(30*time.Second, 45)
	require.NotContains(t, g.order(Order{Kind: OrderHold, Zone: "a", For: time.Hour}).Because, forgets)
	g.step(&RecordFailed{Seq: g.room.recSeq, Err: "no space left on device"})
	for _, o := range []Order{{Kind: OrderHold, Zone: "a", For: 2 * time.Hour}, {Kind: OrderRelease, Zone: "a"}, {Kind: OrderStop}} {
		a := g.order(o)
		require.True(t, a.Accepted, o.Kind)
		require.Contains(t, a.Because, forgets, o.Kind)
	}
	require.NotContains(t, g.order(Order{Kind: OrderAcknowledge}).Because, forgets)
}
