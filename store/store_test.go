package store

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

func TestMain(m *testing.M) {
	ProbeMain()
	limitedMain()
	victimMain()
	os.Exit(m.Run())
}

func noon() time.Time { return time.Date(2025, 3, 1, 12, 0, 0, 0, time.UTC) }

func fixed() Options { return Options{Now: noon} }

func mustOpen(t *testing.T, path string) (*Store, Opened) {
	t.Helper()
	s, opened, err := Open(path, fixed())
	require.NoError(t, err)
	return s, opened
}

func inMemory(t *testing.T) *Store {
	t.Helper()
	s, err := NewMemory()
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return s
}

// populate fills a store with some of everything.
func populate(t *testing.T, s *Store) {
	t.Helper()
	place := zones.Place{Controller: "north", Terminal: 1, Address: "0"}
	require.NoError(t, s.SavePlan(Plan{Hash: "aa", Room: []byte("room: a\n"), Schedule: []byte("s"), Gateway: []byte{0xff, 0}, Accepted: noon(), By: "tester"}))
	require.NoError(t, s.SavePlan(Plan{Hash: "bb", Room: []byte("room: b\n"), Accepted: noon().Add(time.Hour)}))
	require.NoError(t, s.SaveProbes([]Probe{{Place: place, ID: "east-1", Serial: "S1", Zone: "east", Label: "left bench", FirstSeen: noon(), LastSeen: noon()}}))
	require.NoError(t, s.Acknowledge(Acknowledgement{Code: zones.LeakFound, Subject: "north", At: noon(), By: "tester"}))
	var b Batch
	for i := range 300 {
		b.Journal = append(b.Journal, JournalEntry{Seq: uint64(i + 1), At: noon().Add(time.Duration(i) * time.Minute),
			Entry: zones.Entry{Kind: "refused", Zone: "east", Reason: zones.RestingStill, Because: "it rests until 12:40"}})
	}
	b.History = wave("east-1", noon(), 300)
	b.Mirror = zones.NewMemory()
	b.Mirror.Seq, b.Mirror.Epoch, b.Mirror.Plan = 41, 7, "bb"
	require.NoError(t, s.Write(b))
}

// wave gives n minutes of a moisture that falls and rises.
func wave(id string, from time.Time, n int) []Sample {
	s := Sample{Kind: ProbeMoisture, ID: id}
	for i := range n {
		s.Points = append(s.Points, Point{from.Add(time.Duration(i) * time.Minute), int32(46_000 - 10*(i%97))})
	}
	return []Sample{s}
}

// whole asks for everything that populate wrote.
func whole(t *testing.T, s *Store) {
	t.Helper()
	p, err := s.PlanInForce()
	require.NoError(t, err)
	require.Equal(t, "bb", p.Hash)
	all, err := s.Plans()
	require.NoError(t, err)
	require.Len(t, all, 2)
	require.True(t, all[0].InForce && !all[1].InForce)
	require.Equal(t, []byte{0xff, 0}, all[1].Gateway)
	probes, err := s.Probes()
	require.NoError(t, err)
	require.Equal(t, "left bench", probes[0].Label)
	acked, err := s.Acknowledged()
	require.NoError(t, err)
	require.Equal(t, zones.LeakFound, acked[0].Code)
	lines, err := s.Journal(1, 0)
	require.NoError(t, err)
	require.Len(t, lines, 300)
	require.Equal(t, "it rests until 12:40", lines[299].Because)
	points, err := s.History(ProbeMoisture, "east-1", noon(), noon().Add(5*time.Hour))
	require.NoError(t, err)
	require.Equal(t, wave("east-1", noon(), 300)[0].Points, points)
	m, err := s.Mirror()
	require.NoError(t, err)
	require.Equal(t, uint32(7), m.Epoch)
	require.Zero(t, s.Stats().DamagedValues)
}

func TestAllComesBackAfterARestart(t *testing.T) {
	path := filepath.Join(t.TempDir(), "var", "store.db")
	s, opened := mustOpen(t, path)
	require.Equal(t, Opened{Fresh: true}, opened)
	used, err := s.Used()
	require.NoError(t, err)
	require.False(t, used)
	populate(t, s)
	whole(t, s)
	id, err := s.Install()
	require.NoError(t, err)
	require.Len(t, id, 32)
	require.NoError(t, s.Close())

	s, opened = mustOpen(t, path)
	require.Equal(t, Opened{}, opened)
	whole(t, s)
	again, err := s.Install()
	require.NoError(t, err)
	require.Equal(t, id, again)
	used, err = s.Used()
	require.NoError(t, err)
	require.True(t, used)
	require.NoError(t, s.Close())
}

func TestTheTwinInMemoryIsTheSame(t *testing.T) {
	s := inMemory(t)
	populate(t, s)
	whole(t, s)
}

func TestNothingIsThereAtFirst(t *testing.T) {
	s := inMemory(t)
	_, err := s.PlanInForce()
	require.ErrorIs(t, err, ErrNotFound)
	_, err = s.Plan("aa")
	require.ErrorIs(t, err, ErrNotFound)
	m, err := s.Mirror()
	require.NoError(t, err)
	require.Nil(t, m)
	for _, kind := range []Kind{ProbeMoisture, ZoneMoisture} {
		points, err := s.History(kind, "east", noon(), noon().Add(time.Hour))
		require.NoError(t, err)
		require.Empty(t, points)
	}
	require.Equal(t, uint64(1), s.NextSeq())
}

func TestASecondProcessIsTold(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	s, _ := mustOpen(t, path)
	_, _, err := Open(path, fixed())
	require.ErrorIs(t, err, ErrLocked)
	_, err = OpenReadOnly(path)
	require.ErrorIs(t, err, ErrLocked)
	require.NoError(t, s.Close())
}

func TestReadOnlyLooksAndNeverWrites(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	_, err := OpenReadOnly(path)
	require.ErrorIs(t, err, os.ErrNotExist)
	s, _ := mustOpen(t, path)
	populate(t, s)
	require.NoError(t, s.Close())
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	r, err := OpenReadOnly(path)
	require.NoError(t, err)
	whole(t, r)
	require.ErrorIs(t, r.SaveMirror(zones.NewMemory()), ErrReadOnly)
	_, err = r.Thin(noon(), time.Hour)
	require.Error(t, err)
	require.NoError(t, r.Close())
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, before, after)
}

func TestAnUncleanEndLeavesAGapInTheJournal(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	s, _ := mustOpen(t, path)
	populate(t, s)
	require.NoError(t, s.db.Close()) // as a crash: not marked as closed
	s, opened := mustOpen(t, path)
	require.True(t, opened.Unclean)
	require.Equal(t, uint64(301+seqGap), s.NextSeq())
	require.NoError(t, s.Close())
	s, opened = mustOpen(t, path)
	require.False(t, opened.Unclean)
	require.Equal(t, uint64(301), s.NextSeq())
	require.NoError(t, s.Close())
}

func TestFailedWritesAreNamed(t *testing.T) {
	s := inMemory(t)
	for cause, want := range map[error]error{syscall.ENOSPC: ErrFull, syscall.EDQUOT: ErrFull, syscall.EROFS: ErrReadOnly} {
		s.FailWrites(&os.PathError{Op: "write", Path: "x", Err: cause})
		err := s.SaveMirror(zones.NewMemory())
		require.ErrorIs(t, err, want)
		require.ErrorIs(t, err, cause)
	}
	s.FailWrites(nil)
	require.NoError(t, s.SaveMirror(zones.NewMemory()))
}

func TestNothingIsWrittenAfterADiskError(t *testing.T) {
	s, err := NewMemory()
	require.NoError(t, err)
	s.FailWrites(syscall.EIO)
	require.ErrorIs(t, s.SaveMirror(zones.NewMemory()), ErrFailed)
	s.FailWrites(nil)
	require.ErrorIs(t, s.SaveMirror(zones.NewMemory()), ErrFailed, "INV-25: it is final")
	require.NoError(t, s.Close())
}

func TestOldestHistoryGoesForState(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	o := fixed()
	o.MaxSize = 3 << 20
	s, _, err := Open(path, o)
	require.NoError(t, err)
	day := 0
	for ; s.Stats().DroppedDays == 0; day++ {
		require.Less(t, day, 60, "the limit was never met")
		require.NoError(t, s.PutHistory(heavy(noon().AddDate(0, 0, day))))
	}
	for i := range 100 {
		require.NoError(t, s.SavePlan(Plan{Hash: fmt.Sprint("p", i), Room: make([]byte, 9000), Accepted: noon()}))
	}
	plans, err := s.Plans()
	require.NoError(t, err)
	require.Len(t, plans, 100)
	newest, err := s.History(ProbeMoisture, "p00", noon().AddDate(0, 0, day-1), noon().AddDate(0, 0, day))
	require.NoError(t, err)
	require.NotEmpty(t, newest, "the newest day stays")
	require.NoError(t, s.Close())
}

// heavy gives half a day of 40 probes.
func heavy(from time.Time) []Sample {
	var all []Sample
	for p := range 40 {
		all = append(all, wave(fmt.Sprintf("p%02d", p), from, 700)...)
	}
	return all
}

// limited runs fn in a child whose files cannot grow past a size: a disk that is
// full, without a disk.
const limitVariable = "STORE_TEST_FILE_LIMIT"

func limitedMain() {
	path := os.Getenv(limitVariable)
	if path == "" {
		return
	}
	if err := fillToTheLimit(path); err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	os.Exit(0)
}

func fillToTheLimit(path string) error {
	s, _, err := Open(path, fixed())
	if err != nil {
		return err
	}
	limit := &syscall.Rlimit{Cur: 2 << 20, Max: 2 << 20}
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, limit); err != nil {
		return err
	}
	for day := 0; ; day++ {
		err := s.Write(Batch{History: heavy(noon().AddDate(0, 0, day)), Mirror: zones.NewMemory()})
		switch {
		case errors.Is(err, ErrFull):
			return fmt.Errorf("full at day %d and nothing given up: %w", day, err)
		case err != nil:
			return err
		case day > 10 && s.Stats().DroppedDays == 0:
			return fmt.Errorf("the limit was never met")
		case day > 10:
			return s.Close()
		}
	}
}
