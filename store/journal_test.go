package store

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

func line(seq uint64, at time.Time, e zones.Entry) JournalEntry {
	return JournalEntry{Seq: seq, At: at, Entry: e}
}

func TestAJournalLineLooksAsItDoesOnTheTopic(t *testing.T) {
	data, err := json.Marshal(line(17, noon(), zones.Entry{Kind: "run-opened", Zone: "east", Valve: "east", Run: "r-51",
		Reason: zones.BelowThreshold, Because: "29.1 % is below 30 %"}))
	require.NoError(t, err)
	require.JSONEq(t, `{"seq":17,"at":"2025-03-01T12:00:00Z","kind":"run-opened","zone":"east","valve":"east","run":"r-51",
		"reason":"below-threshold","because":"29.1 % is below 30 %"}`, string(data))
}

func TestJournalByNumberTailAndTime(t *testing.T) {
	s := inMemory(t)
	populate(t, s)
	seqs := func(lines []JournalEntry, err error) (out []uint64) {
		require.NoError(t, err)
		for i := range lines {
			out = append(out, lines[i].Seq)
		}
		return out
	}
	require.Equal(t, []uint64{298, 299, 300}, seqs(s.Journal(298, 0)))
	require.Equal(t, []uint64{5, 6}, seqs(s.Journal(5, 2)))
	require.Empty(t, seqs(s.Journal(301, 5)))
	require.Equal(t, []uint64{299, 300}, seqs(s.JournalTail(2, nil)))
	even := func(e *JournalEntry) bool { return e.Seq%2 == 0 }
	require.Equal(t, []uint64{298, 300}, seqs(s.JournalTail(2, even)))
	require.Equal(t, []uint64{299, 300}, seqs(s.JournalSince(noon().Add(298*time.Minute))))
	require.Empty(t, seqs(s.JournalTail(0, nil)))
}

func TestJournalIsCapped(t *testing.T) {
	s := inMemory(t)
	var lines []JournalEntry
	for i := range JournalCap + 1500 {
		lines = append(lines, line(uint64(10*i+1), noon(), zones.Entry{Kind: "note"})) // gaps do not count
	}
	require.NoError(t, s.AppendJournal(lines))
	for _, want := range []int{1500, 0} {
		done, err := s.Thin(noon(), time.Hour)
		require.NoError(t, err)
		require.Equal(t, want, done.Journal)
	}
	got, err := s.Journal(0, 0)
	require.NoError(t, err)
	require.Len(t, got, JournalCap)
	require.Equal(t, uint64(15001), got[0].Seq)
	require.Error(t, s.AppendJournal([]JournalEntry{{At: noon()}}), "a line needs a number")
}

func TestOldJournalGoes(t *testing.T) {
	s := inMemory(t)
	var lines []JournalEntry
	for i := range 2500 {
		lines = append(lines, line(uint64(i+1), noon().Add(time.Duration(i)*time.Hour), zones.Entry{Kind: "note"}))
	}
	require.NoError(t, s.AppendJournal(lines))
	now := lines[2499].At
	done, err := s.Thin(now, 24*time.Hour)
	require.NoError(t, err)
	require.Equal(t, 2475, done.Journal)
	left, err := s.Journal(0, 0)
	require.NoError(t, err)
	require.Equal(t, now.Add(-24*time.Hour), left[0].At)
}

func TestRunsAreReadFromTheJournal(t *testing.T) {
	s := inMemory(t)
	at := func(m int) time.Time { return noon().Add(time.Duration(m) * time.Minute) }
	opened := func(seq uint64, m int, run string) JournalEntry {
		return line(seq, at(m), zones.Entry{Kind: "run-opened", Zone: "east", Valve: "east", Run: run, Reason: zones.DriedBack})
	}
	closed := func(seq uint64, m int, run string) JournalEntry {
		return line(seq, at(m), zones.Entry{Kind: "run-closed", Zone: "east", Run: run, Reason: zones.ShotDone, Seconds: 60, Litres: 3})
	}
	require.NoError(t, s.AppendJournal([]JournalEntry{opened(1, 0, "r-1"), closed(2, 1, "r-1"), opened(3, 58, "r-2"), closed(4, 61, "r-2"), opened(5, 90, "r-3"),
		opened(6, 130, "r-4")}))
	runs, err := s.Runs(at(60), at(120))
	require.NoError(t, err)
	require.Equal(t, []Run{
		{ID: "r-2", Zone: "east", Valve: "east", Opened: at(58), Closed: at(61), Why: zones.DriedBack, End: zones.ShotDone, Seconds: 60, Litres: 3},
		{ID: "r-3", Zone: "east", Valve: "east", Opened: at(90), Why: zones.DriedBack},
	}, runs)
}
