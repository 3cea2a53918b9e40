package virtual

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/schedule"
	"rillgate/zones"
)

var start = time.Date(2027, 3, 1, 6, 0, 0, 0, time.UTC)

// log writes down steps as "seconds event".
type log struct {
	lines    []string
	physical []string
}

func (l *log) Stepped(at time.Time, now zones.Instant, ev zones.Event, effects []zones.Effect) {
	l.lines = append(l.lines, fmt.Sprintf("%g %T", at.Sub(start).Seconds(), ev))
}

func (l *log) Physical(now zones.Instant, o zones.Output, open bool) {
	l.physical = append(l.physical, fmt.Sprintf("%g %s %t", now.Wall.Sub(start).Seconds(), o, open))
}

func (l *log) count(line string) int {
	n := 0
	for _, x := range l.lines {
		if x == line {
			n++
		}
	}
	return n
}

func bay() *zones.Plan {
	return &zones.Plan{
		Room: "bay", Lease: 30 * time.Second, Calendar: schedule.Calendar{Location: time.UTC, Days: []schedule.Day{{On: 6 * time.Hour, Off: 18 * time.Hour}}},
		Controllers: []zones.Controller{{ID: "north", Inputs: []zones.Input{{ID: "tank-low", Means: zones.SupplyLow}}}},
		Supplies:    []zones.Supply{{ID: "feed", MaxOpen: 1}},
		Valves:      []zones.Valve{{ID: "a", Output: zones.Output{Controller: "north", Number: 1}, Supply: "feed"}},
		Zones: []zones.Zone{{
			ID: "a", Valves: []string{"a"}, Limits: zones.Limits{MaxRun: 5 * time.Minute, MinRest: 5 * time.Minute, MaxPerDay: time.Hour, MaxMoisture: 70000},
			Moisture: zones.Moisture{Combine: zones.Median, Quorum: 1, StaleAfter: 3 * time.Minute, PlausibleHi: 95000},
		}},
	}
}

// TestEachSecondReports: one report a second of each controller, inputs each minute,
// and nothing of a controller that is away.
func TestEachSecondReports(t *testing.T) {
	l := &log{}
	w := New(bay(), start, l)
	w.Advance(start.Add(61500 * time.Millisecond))
	require.Equal(t, 1, l.count("30 *zones.Report"))
	require.Zero(t, l.count("30.5 *zones.Report"))
	require.Equal(t, 1, l.count("60 *zones.InputState"))
	require.Equal(t, 1, l.count("0 *zones.BrokerLink"))
	require.NoError(t, w.Controller("north", false, ""))
	w.Advance(start.Add(70 * time.Second))
	require.Zero(t, l.count("65 *zones.Report"))
	require.Equal(t, 1, l.count("61.5 *zones.Status"))
	require.NoError(t, w.Controller("north", true, ""))
	require.Equal(t, 1, l.count("70 *zones.Report"), "at once when it is back")
}

// TestGrantsRunOutByThemselves: with the broker down nothing arrives; the contact
// goes off when its grant ends, in true time.
func TestGrantsRunOutByThemselves(t *testing.T) {
	l := &log{}
	w := New(bay(), start, l)
	w.Advance(start.Add(40 * time.Second))
	w.Send(&zones.Order{ID: "o", Kind: zones.OrderShot, Zone: "a", For: 2 * time.Minute})
	require.True(t, w.Open("a"))
	w.Advance(start.Add(45 * time.Second))
	w.Broker(false)
	require.True(t, w.Open("a"), "the close cannot reach it")
	w.Advance(start.Add(70*time.Second - 1))
	require.True(t, w.Open("a"))
	w.Advance(start.Add(70 * time.Second))
	require.False(t, w.Open("a"))
	require.Equal(t, []string{"40 north/1 true", "70 north/1 false"}, l.physical)
	require.Zero(t, l.count("50 *zones.Report"))
}

// TestRestartKeepsWhatWasAnswered: records that the ledger held back are forgotten,
// answered ones are not, and grants go on.
func TestRestartKeepsWhatWasAnswered(t *testing.T) {
	w := New(bay(), start, &log{})
	w.Advance(start.Add(40 * time.Second))
	w.Send(&zones.Order{ID: "o", Kind: zones.OrderHold, Zone: "a", For: time.Hour})
	w.Ledger(LedgerHolds)
	w.Send(&zones.Order{ID: "o2", Kind: zones.OrderStop})
	require.True(t, w.View().Stopped)
	w.Restart()
	require.False(t, w.View().Stopped)
	require.NotNil(t, w.View().Zones[0].HoldUntil)
}

// TestRestartLeavesTheContactToItsGrant: a crash closes nothing by itself; the new
// process does, as its first command.
func TestRestartLeavesTheContactToItsGrant(t *testing.T) {
	l := &log{}
	w := New(bay(), start, l)
	w.Advance(start.Add(40 * time.Second))
	w.Send(&zones.Order{ID: "o", Kind: zones.OrderShot, Zone: "a", For: 2 * time.Minute})
	w.Broker(false)
	w.Restart()
	require.True(t, w.Open("a"))
	w.Broker(true)
	require.False(t, w.Open("a"))
}

func TestShutdownEndsClosed(t *testing.T) {
	w := New(bay(), start, &log{})
	w.Advance(start.Add(40 * time.Second))
	w.Send(&zones.Order{ID: "o", Kind: zones.OrderShot, Zone: "a", For: 2 * time.Minute})
	require.True(t, w.Open("a"))
	w.Shutdown()
	require.False(t, w.Open("a"))
	require.Equal(t, start.Add(40*time.Second), w.At(), "the report comes at once")
}

// TestShutdownWaitsForFiveSecondsAtMost: nobody can confirm.
func TestShutdownWaitsForFiveSecondsAtMost(t *testing.T) {
	w := New(bay(), start, &log{})
	w.Advance(start.Add(40 * time.Second))
	w.Send(&zones.Order{ID: "o", Kind: zones.OrderShot, Zone: "a", For: 2 * time.Minute})
	require.NoError(t, w.Silence("north"))
	w.Shutdown()
	require.Equal(t, start.Add(45*time.Second), w.At())
}

// TestWallFollowsTheSteps: true time goes on, the wall clock steps.
func TestWallFollowsTheSteps(t *testing.T) {
	w := New(bay(), start, &log{})
	w.Advance(start.Add(time.Minute))
	w.Clock(false, -time.Hour)
	require.Equal(t, start.Add(time.Minute-time.Hour), w.Now().Wall)
	require.Equal(t, start.Add(time.Minute), w.At())
	require.False(t, w.Now().Trusted)
	before := w.Now().Mono
	w.Advance(start.Add(2 * time.Minute))
	require.Equal(t, before+time.Minute, w.Now().Mono)
}
