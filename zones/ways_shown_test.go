package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Ways that only seldom states go, each set by hand.

func TestLinesThatMove(t *testing.T) {
	at := Place{"north", 1, "0"}
	require.Equal(t, "in its line `address: \"0\"` becomes `address: \"7\"`", LineMoves(at, Place{"north", 1, "7"}))
	require.Equal(t, "its line goes under terminal 2 of north, with `address: \"0\"` for `address: \"0\"`", LineMoves(at, Place{"north", 2, "0"}))
	require.Contains(t, LineMoves(at, Place{"south", 1, "0"}), "under terminal 1 of south")
}

func TestExchangeWithItself(t *testing.T) {
	g := newRig(t, planWith(func(*Plan) {}))
	a := g.order(Order{Kind: OrderExchange, Subject: "a0", With: "a0"})
	require.False(t, a.Accepted)
	require.Contains(t, a.Because, "a0 is the probe at north/1/0 already")
}

func TestExchangeWithAnotherKeepsAnOffset(t *testing.T) {
	g := newRig(t, planWith(func(p *Plan) { p.Probes[0].Offset = 1000 }))
	is := Place{"north", 1, "7"}
	g.says(is, 44, "new")
	require.True(t, g.order(Order{Kind: OrderExchange, Subject: "a0", With: "north/1/7", KeepOffset: true}).Accepted)
	require.Equal(t, is, g.probe("a0").Place)
	require.Equal(t, Level(1000), g.room.probeByID("a0").signal.offset)
}

// Each alarm is acknowledged: what keeps the output dropped is then said by itself.
func TestAcknowledgedAlarmsAndTheHealthyOutput(t *testing.T) {
	because := func(happen func(g *rig), code Reason) string {
		g := newRig(t, healthyPlan())
		happen(g)
		g.step(&Tick{})
		a := g.order(Order{Kind: OrderAcknowledge, Subject: string(code)})
		require.True(t, a.Accepted, a.Because)
		g.pass(time.Second)
		g.step(&Tick{})
		require.False(t, g.room.View(g.now).Healthy.Held)
		return g.room.View(g.now).Healthy.Because
	}
	require.Equal(t, "the ledger cannot be written", because(func(g *rig) { g.step(&RecordFailed{Err: "no space left"}) }, StoreFailed))
	require.Equal(t, "controller north: it said offline", because(func(g *rig) {
		g.obey = false // an answer would say that it is there
		g.step(&Status{Controller: "north"})
	}, ControllerOffline))
}

// A report that has acted on the grant and shows the output dropped is believed.
func TestHealthyThatDroppedByItself(t *testing.T) {
	g := newRig(t, healthyPlan())
	at := Output{"north", 9}
	require.True(t, g.open[at])
	g.obey, g.open[at] = false, false
	g.pass(time.Second)
	g.report()
	g.step(&Tick{})
	require.Equal(t, "it is reported dropped though it was told to hold", g.room.View(g.now).Healthy.Because)
}

func TestStatesOfAHealthyOutputThatIsNotNamed(t *testing.T) {
	g := newRig(t, healthyPlan())
	h := g.room.healthy
	h.turn, h.out.confirmed, h.out.open, h.out.granted = nil, false, true, false
	require.Equal(t, HealthyMaybe, g.room.healthyState(h, g.room.t), "the newest report shows it open")
	h.out.repAt = h.out.ctl.arrived - 1
	require.Equal(t, HealthyUnknown, g.room.healthyState(h, g.room.t), "the newest report does not name it")
	h.out.repAt, h.out.shown = h.out.ctl.arrived, false
	require.Equal(t, HealthyUnknown, g.room.healthyState(h, g.room.t), "none of this boot does")
}

func TestAlarmOfAZoneThatLeft(t *testing.T) {
	g := newRig(t, healthyPlan())
	from, ok := g.room.urgentFrom(&alarm{code: OverWet, subject: "gone", age: time.Minute})
	require.True(t, ok)
	require.Equal(t, time.Minute+healthyPatience, from)
}

// The healthy output names the alarms that keep it dropped as the look names them.
func TestAlarmsAreNamedAlike(t *testing.T) {
	g := newRig(t, healthyPlan())
	g.step(&RecordFailed{Err: "no space left"})
	v := g.room.View(g.now)
	require.Len(t, v.Alarms, 1)
	require.Equal(t, []string{v.Alarms[0].ID()}, v.Healthy.Alarms)
	require.Equal(t, "store-failed-bay", v.Alarms[0].ID())
}

func TestSoakThatWaitsForSomethingElse(t *testing.T) {
	g := newRig(t, soakPlan(1, 2))
	z := g.room.zoneBy["a"]
	z.waiting, z.reason = true, Starting
	require.Empty(t, g.room.soakWaits(z, g.room.t))
}

// Of walks of the same wiring under other names the newest counts.
func TestTheNewestWalkOfAWiringCounts(t *testing.T) {
	g := newRig(t, walkPlan())
	z := g.room.zones[0]
	day := func(d int) time.Time { return time.Date(2027, time.March, d, 12, 0, 0, 0, time.UTC) }
	for id, at := range map[string]time.Time{"m": day(2), "n": day(3), "o": day(1)} {
		g.room.mem.Zones[id] = &ZoneMemory{Walked: &WalkMemory{Wall: at, Wiring: z.wiring()}}
	}
	w, now := g.room.walk(z)
	require.True(t, now)
	require.Equal(t, day(3), w.Wall)
}

func TestAWalkIsTakenBackWithoutAWord(t *testing.T) {
	g := newRig(t, walkPlan())
	id := g.room.plan.Zones[0].ID
	require.True(t, g.order(Order{ID: "o1", Kind: OrderWalkAccept, Zone: id}).Accepted)
	require.True(t, g.order(Order{ID: "o2", Kind: OrderWalkReject, Zone: id, Subject: g.zone(id).Wiring}).Accepted)
	require.Contains(t, g.zone(id).NotWalked, "a later walk found it otherwise")
}

// A valve that no zone uses takes its supply while it may be open, and no longer.
func TestAValveWithoutZone(t *testing.T) {
	p := benchPlan(2, 1)
	p.Supplies[0].MaxOpen, p.Supplies[0].MaxFlowLPH = 2, 1000
	g := newRig(t, p)
	less := *p
	less.Hash, less.Zones = "less", p.Zones[:1]
	g.step(&NewPlan{Plan: &less})
	z := g.room.zoneBy["a"]
	require.False(t, g.room.busy(z))
	require.Contains(t, busyWords(g.room, z, nil), "is taken, or one of its valves may be open")
	for _, o := range g.room.outputs {
		if o.zone == nil {
			o.confirmed, o.open, o.shown = false, true, true
		}
	}
	require.True(t, g.room.busy(z))
	require.Contains(t, busyWords(g.room, z, nil), "which no zone uses, is or may be open")
}
