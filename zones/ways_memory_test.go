package zones

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/schedule"
)

// A start from a lost memory gives no water until a person frees the budget, and takes
// an epoch above the highest that is known.
func TestStartFromALostMemory(t *testing.T) {
	g := rawRig(t, benchPlan(1, 2), LostMemory(7))
	require.EqualValues(t, 8, g.room.epoch)
	require.False(t, g.room.fresh)
	g.run(time.Minute, 35)
	require.Equal(t, DailyLimit, g.zone("a").Reason)
	require.True(t, g.order(Order{Kind: OrderReset, Subject: "budget", Zone: "a"}).Accepted)
	g.run(10*time.Second, 35)
	require.Equal(t, ValveOpen, g.valve("a"))
}

// One loss counts once: a budget that a person frees stays free when a controller shows
// an epoch that was lost with the rest. Water given after the loss is lost anew.
func TestLossCountsOnce(t *testing.T) {
	for _, freed := range []bool{false, true} {
		m := LostMemory(0)
		m.output(Output{"north", 1}).Spent = !freed
		g := startRig(t, benchPlan(1, 2), m, false)
		require.Equal(t, !freed, g.order(Order{Kind: OrderReset, Subject: "budget", Zone: "a"}).Accepted, "only what is spent is freed")
		g.epoch, g.seq = 40, 7
		g.pass(time.Second)
		g.report()
		require.EqualValues(t, 41, g.room.epoch)
		require.Equal(t, freed, m.output(Output{"north", 1}).Spent)
	}
}

// A record that was folded already changes nothing.
func TestFoldedOnce(t *testing.T) {
	m := NewMemory()
	latch := &Record{Seq: 1, Kind: RecLatch, Latch: &LatchRecord{Code: LeakFound, Because: "first"}}
	m.Apply(latch)
	m.Apply(&Record{Seq: 2, Kind: RecReset, Latch: &LatchRecord{Code: LeakFound}})
	m.Apply(latch)
	require.Empty(t, m.Latches, "the latch was cleared after it")
	m.Apply(&Record{Seq: 3, Kind: RecLatch, Latch: &LatchRecord{Code: LeakFound, Because: "second"}})
	m.Apply(&Record{Seq: 4, Kind: RecLatch, Latch: &LatchRecord{Code: LeakFound, Because: "third"}})
	require.Len(t, m.Latches, 1)
	require.Equal(t, "second", m.Latches[0].Because, "the first cause stands")
}

// A charge that is open stays, however old; one that ended leaves after 24 h.
func TestChargesLeave(t *testing.T) {
	at := Output{"north", 1}
	run := func(id string, end time.Duration) *RunRecord {
		return &RunRecord{ID: id, Zone: "a", Outputs: []Output{at}, Length: time.Minute, End: end}
	}
	m := NewMemory()
	m.Apply(&Record{Seq: 1, Age: time.Hour, Kind: RecIntent, Run: run("open", 2*time.Hour)})
	m.Apply(&Record{Seq: 2, Age: time.Hour, Kind: RecIntent, Run: run("over", 2*time.Hour)})
	done := run("over", 2*time.Hour)
	done.Amount = time.Minute
	m.Apply(&Record{Seq: 3, Age: 2 * time.Hour, Kind: RecSettle, Run: done})
	require.Equal(t, 2*time.Minute, m.output(at).used(26*time.Hour-1, ""))
	require.Equal(t, time.Minute, m.output(at).used(26*time.Hour, ""), "the open one counts for ever")
	m.Apply(&Record{Seq: 4, Age: 26 * time.Hour, Kind: RecIntent, Run: run("next", 27*time.Hour)})
	require.Len(t, m.output(at).Charges, 2)
	m.Apply(&Record{Seq: 5, Age: 27 * time.Hour, Kind: RecClose, Run: run("unknown", 0)})
	require.Len(t, m.output(at).Charges, 2, "a close of a run that is not charged here")
	require.Equal(t, 27*time.Hour, m.output(at).Rested)
}

// What instances had is remembered for the last 64 of them.
func TestPastInstances(t *testing.T) {
	m := NewMemory()
	z := m.zone("a")
	for n := range pastInstances + 3 {
		m.enter(z, schedule.Progress{Instance: itoa(n), Shots: 1})
	}
	require.Len(t, z.Past, pastInstances)
	require.Zero(t, z.recall("1").Shots, "too long ago")
	require.Equal(t, 1, z.recall("2").Shots)
	last := itoa(pastInstances + 2)
	require.Equal(t, z.Progress, z.recall(last), "the one that is open")
	m.enter(z, schedule.Progress{Instance: "empty"})
	m.enter(z, schedule.Progress{Instance: "next"})
	require.Equal(t, schedule.Progress{Instance: "empty"}, z.recall("empty"))
}

// Two runs of a zone that the last process left open are one alarm.
func TestTwoUnfinishedRuns(t *testing.T) {
	m := NewMemory()
	m.Seq, m.Clean = 5, false
	m.output(Output{"north", 1}).Charges = []Charge{
		{Run: "r-1", Zone: "a", Amount: time.Minute, Open: true}, {Run: "r-2", Zone: "a", Amount: time.Minute, Open: true}}
	g := rawRig(t, benchPlan(1, 2), m)
	require.Contains(t, g.room.alarm(AlarmUnfinishedRun, "a").because, "r-2")
	require.True(t, g.order(Order{Kind: OrderAcknowledge, Subject: "a"}).Accepted)
	require.Nil(t, g.room.alarm(AlarmUnfinishedRun, "a"))
}

// Closings need no disk: a start whose ledger does not answer closes as soon as it is
// known that it never will.
func TestCloseBeforeTheEpochIsDurable(t *testing.T) {
	g := &rig{t: t, boot: "b1", mute: true, obey: true, open: map[Output]bool{}, flow: map[Output]float64{}, up: time.Hour,
		now: Instant{Wall: time.Date(2027, 3, 1, 8, 0, 0, 0, time.UTC), Mono: time.Hour, Trusted: true}}
	var effects []Effect
	g.room, effects = NewRoom(benchPlan(1, 2), NewMemory(), g.now)
	g.took(effects)
	g.step(&BrokerLink{Up: true})
	g.run(2*time.Minute, 35)
	require.Empty(t, g.commands(g.got, false), "no number of this epoch may go out yet")
	require.Equal(t, []Reason{Starting}, g.standing())
	p := benchPlan(1, 2)
	p.Valves[0].Output.Number = 2
	require.Empty(t, g.commands(g.step(&NewPlan{p}), false), "the output that left is closed later")
	require.Len(t, g.commands(g.step(&RecordFailed{Seq: 1}), false), 2)
	require.Contains(t, g.zone("a").Because, "no reason given")
	g.step(&RecordFailed{Seq: 2, Err: "disk full"})
	require.Contains(t, g.zone("a").Because, "no reason given", "the first cause stands")
}
