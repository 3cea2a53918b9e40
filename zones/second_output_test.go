package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// pairPlan has one zone of two valves; its master hangs on a controller of its own.
func pairPlan() *Plan {
	p := benchPlan(1, 2)
	p.Controllers = append(p.Controllers, Controller{ID: "south"})
	p.Supplies[0].MaxOpen = 2
	p.Supplies[0].Master = &Master{Output: Output{"south", 1}, Kind: MasterValve, Lead: time.Second}
	p.Valves = append(p.Valves, Valve{ID: "second", Output: Output{"north", 7}, Supply: "feed"})
	p.Zones[0].Valves = append(p.Zones[0].Valves, "second")
	return p
}

// What is remembered of a zone's second output binds the zone as that of its first.
func TestTheSecondOutputBindsTheZone(t *testing.T) {
	second := Output{"north", 7}
	for name, c := range map[string]struct {
		remember func(o *OutputMemory)
		reason   Reason
	}{
		"nothing":        {func(*OutputMemory) {}, ""},
		"a leak":         {func(o *OutputMemory) { o.Latches = []LatchMemory{{Code: LeakFound}} }, LeakFound},
		"a stop":         {func(o *OutputMemory) { o.Latches = []LatchMemory{{Code: StoppedByPerson}} }, StoppedByPerson},
		"a loss":         {func(o *OutputMemory) { o.Spent = true }, DailyLimit},
		"a day's charge": {func(o *OutputMemory) { o.Charges = []Charge{{Amount: time.Hour, End: 29 * time.Hour}} }, DailyLimit},
		"a rest":         {func(o *OutputMemory) { o.Ran, o.Rested = true, 30*time.Hour }, RestingStill},
	} {
		t.Run(name, func(t *testing.T) {
			m := NewMemory()
			m.Seq, m.Age = 1, 30*time.Hour
			m.output(Output{"north", 1}).Ran, m.output(Output{"north", 1}).Rested = true, time.Hour
			c.remember(m.output(second))
			g := rawRig(t, pairPlan(), m)
			g.run(time.Minute, 35)
			if c.reason == "" {
				require.NotNil(t, g.room.zoneBy["a"].run)
				return
			}
			require.Equal(t, c.reason, g.zone("a").Reason, g.zone("a").Because)
			require.Empty(t, g.commands(g.got, true))
		})
	}
}

// A zone waits for the controller of its master as for that of its valves.
func TestTheMastersControllerIsClosedFirst(t *testing.T) {
	g := newRig(t, pairPlan())
	z := g.room.zoneBy["a"]
	require.False(t, isStarting(g.room, z, &ask{}))
	for _, id := range []string{"north", "south"} {
		g.room.controlBy[id].ready = false
		require.True(t, isStarting(g.room, z, &ask{}), id)
		g.room.controlBy[id].ready = true
	}
}

// A budget that is freed keeps the charge of the run that is on: it is spent as it flows.
func TestAFreedBudgetKeepsTheRunningCharge(t *testing.T) {
	at := Output{"north", 1}
	m := NewMemory()
	m.output(at).Charges = []Charge{{Amount: time.Minute, End: time.Hour}, {Amount: 2 * time.Minute, Open: true}}
	m.output(at).Spent = true
	m.Apply(&Record{Seq: 1, Kind: RecReset, Budget: &BudgetRecord{Outputs: []Output{at}}})
	require.Equal(t, []Charge{{Amount: 2 * time.Minute, Open: true}}, m.output(at).Charges)
	require.False(t, m.output(at).Spent)
}

// Whoever acknowledges an alarm lets no water by it: what is latched stays.
func TestAcknowledgeResetsNothing(t *testing.T) {
	for _, code := range []Reason{NoResponse, LeakFound, StoppedByPerson, ValveMismatch} {
		m := NewMemory()
		m.Seq, m.Age = 1, 30*time.Hour
		m.output(Output{"north", 1}).Latches = []LatchMemory{{Code: code, Because: "planted"}}
		g := rawRig(t, benchPlan(1, 2), m)
		g.run(40*time.Second, 45)
		require.True(t, g.alarmed(code, "a"), code)
		for _, subject := range []string{"", "a", string(code)} {
			g.order(Order{Kind: OrderAcknowledge, Subject: subject})
			require.NotNil(t, hasLatch(g.room.Memory().Outputs[(Output{"north", 1}).String()].Latches, code), code)
			require.True(t, g.alarmed(code, "a"), code)
		}
	}
}

// A leak is reset once half of the probes or fewer still rise.
func TestResetOfALeakThatHalfTheProbesShow(t *testing.T) {
	for rising, still := range map[int]bool{1: false, 2: false, 3: true, 4: true} {
		g := newRig(t, benchPlan(1, 4))
		z := g.room.zoneBy["a"]
		g.run(45*time.Minute, 45)
		g.room.latchZone(z, LeakFound, "planted")
		for i, p := range z.probes {
			if i < rising {
				g.step(&Reading{Place: p.place, Moisture: 56000, HasMoisture: true})
			}
		}
		n, of := z.rising(g.room.t)
		require.Equal(t, []int{rising, 4}, []int{n, of})
		a := g.order(Order{Kind: OrderReset, Zone: "a"})
		require.Equal(t, !still, a.Accepted, a.Because)
	}
}

// Starts after unclean ends count for ten minutes.
func TestStartsCountForTenMinutes(t *testing.T) {
	for ago, counts := range map[time.Duration]bool{10 * time.Minute: true, 10*time.Minute + time.Second: false} {
		m := NewMemory()
		m.Starts = []time.Duration{time.Hour - ago}
		m.Apply(&Record{Seq: 1, Kind: RecStart, Age: time.Hour, Epoch: 2})
		require.Equal(t, counts, len(m.Starts) > 1 || len(m.Starts) == 1 && m.Starts[0] < time.Hour, ago)
	}
}

// What must outlast a power cut is no lazy record: a series that ended, levels, a walk.
func TestUrgentProgressIsNotLazy(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	z := g.room.zoneBy["a"]
	for _, urgent := range []bool{false, true} {
		z.urgent, z.changed = urgent, true
		g.room.progRec = -time.Hour
		g.room.dirty = true
		found := false
		for _, e := range g.step(&Tick{}) {
			if rec, ok := e.(*Record); ok && rec.Kind == RecProgress {
				require.Equal(t, !urgent, rec.Lazy)
				found = true
			}
		}
		require.True(t, found)
	}
}

// Age is written down every ten minutes at least: a power cut takes no more of it.
func TestAgeIsRecordedEveryTenMinutes(t *testing.T) {
	g := newRig(t, benchPlan(1, 2))
	last, most := g.room.t, time.Duration(0)
	for range 90 {
		for _, e := range g.run(time.Minute, 45) {
			if rec, ok := e.(*Record); ok {
				most, last = max(most, rec.Age-last), rec.Age
			}
		}
	}
	require.LessOrEqual(t, max(most, g.room.t-last), 10*time.Minute+2*time.Second)
}

// Numbers that the invariants name, and that no test above would miss by a factor.
func TestNumbersOfTheInvariants(t *testing.T) {
	require.Equal(t, 5*time.Second, deadlineGrace, "INV-22: 5 s past the last deadline")
	require.Equal(t, 10*time.Minute, crashSpan, "INV-30")
	require.GreaterOrEqual(t, pastInstances, 7*8, "INV-16: a clock set back by a week, with eight windows a day")
}
