package ledger

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

// entry gives the nth record of a made-up day: intents, closes, latches, ages.
func entry(seq uint64) *zones.Record {
	age := time.Duration(seq) * time.Minute
	rec := &zones.Record{Seq: seq, Age: age, Wall: time.Date(2025, 3, 1, 0, 0, 0, 0, time.UTC).Add(age), Trusted: true}
	out := zones.Output{Controller: "north", Number: int(seq % 4)}
	run := &zones.RunRecord{ID: "r-1", Zone: "east", Outputs: []zones.Output{out}, Length: time.Minute, End: age + time.Minute}
	switch seq % 5 {
	case 0:
		rec.Kind, rec.Run = zones.RecIntent, run
	case 1:
		rec.Kind, rec.Run = zones.RecClose, run
	case 2:
		rec.Kind = zones.RecAge
	case 3:
		rec.Kind, rec.Epoch = zones.RecEpoch, uint32(seq)
	case 4:
		rec.Kind, rec.Latch = zones.RecLatch, &zones.LatchRecord{Code: zones.NoResponse, Outputs: []zones.Output{out}}
	}
	return rec
}

func entries(from, n uint64) []*zones.Record {
	var recs []*zones.Record
	for seq := from; seq < from+n; seq++ {
		recs = append(recs, entry(seq))
	}
	return recs
}

// folds gives the memory after each of the first n records, as JSON.
func folds(t *testing.T, n uint64) []string {
	t.Helper()
	m := zones.NewMemory()
	all := []string{text(t, m)}
	for seq := uint64(1); seq <= n; seq++ {
		rec, err := recordOf(frame{seq: seq, payload: must(json.Marshal(entry(seq)))})
		require.NoError(t, err)
		require.NoError(t, apply(m, rec))
		all = append(all, text(t, m))
	}
	return all
}

func text(t *testing.T, m *zones.Memory) string {
	t.Helper()
	data, err := json.Marshal(m)
	require.NoError(t, err)
	return string(data)
}

func must(data []byte, err error) []byte {
	if err != nil {
		panic(err)
	}
	return data
}

func openOn(t *testing.T, d Disk) (*Ledger, Recovered) {
	t.Helper()
	l, rec, err := Open("memory", Options{Disk: d, Size: minSize})
	require.NoError(t, err)
	return l, rec
}

func TestFirstStartHasFullBudgets(t *testing.T) {
	d := NewMemoryDisk()
	l, rec := openOn(t, d)
	require.True(t, rec.Fresh)
	require.False(t, rec.Lost || rec.Damaged || rec.Memory.Spent)
	require.NoError(t, l.Close())

	l, rec = openOn(t, d)
	require.False(t, rec.Fresh || rec.Lost || rec.Damaged || rec.Memory.Spent)
	require.Empty(t, rec.Detail)
	require.NoError(t, l.Close())
}

func TestRecordsComeBackOverManySegments(t *testing.T) {
	const n = 200
	want := folds(t, n)
	d := NewMemoryDisk()
	l, _ := openOn(t, d)
	for seq := uint64(1); seq <= n; seq++ {
		require.NoError(t, l.Append(entry(seq)))
	}
	require.Greater(t, l.Stats().Segments, 5)
	require.JSONEq(t, want[n], text(t, l.Memory()))
	d.Crash(nil)
	_, rec := openOn(t, d)
	require.JSONEq(t, want[n], text(t, rec.Memory))
	require.Empty(t, rec.Detail)
}

func TestOneAppendOneSync(t *testing.T) {
	l, _, err := Open("memory", Options{Disk: NewMemoryDisk()})
	require.NoError(t, err)
	before := l.Stats()
	recs := entries(1, 4)
	size := 0
	for _, rec := range recs {
		size += frameSize(len(must(json.Marshal(rec))))
	}
	require.NoError(t, l.Append(recs...))
	after := l.Stats()
	require.Equal(t, 1, after.Syncs-before.Syncs)
	require.Equal(t, int64(size), after.Bytes-before.Bytes)
	require.Equal(t, 4, after.Records)
	require.NoError(t, l.Append())
	require.Equal(t, after, l.Stats(), "nothing to write needs no sync")
}

func TestABatchLargerThanASegmentFits(t *testing.T) {
	const n = 60
	want := folds(t, n)
	d := NewMemoryDisk()
	l, _ := openOn(t, d)
	require.NoError(t, l.Append(entries(1, n)...))
	d.Crash(nil)
	_, rec := openOn(t, d)
	require.JSONEq(t, want[n], text(t, rec.Memory))
}

func TestARecordThatCannotBeWrittenEndsIt(t *testing.T) {
	bad := entry(1)
	bad.Kind, bad.Run = zones.RecSettle, &zones.RunRecord{Litres: math.NaN()}
	for name, rec := range map[string]*zones.Record{"not a number": bad, "gap": entry(2), "seq 0": entry(0)} {
		t.Run(name, func(t *testing.T) {
			l, _ := openOn(t, NewMemoryDisk())
			require.ErrorIs(t, l.Append(rec), ErrFailed)
			require.ErrorIs(t, l.Append(entry(1)), ErrFailed)
		})
	}
}

func TestASecondProcessIsRefused(t *testing.T) {
	dir := t.TempDir()
	l, _, err := Open(dir, Options{})
	require.NoError(t, err)
	_, _, err = Open(dir, Options{})
	require.ErrorIs(t, err, ErrLocked)
	require.NoError(t, l.Close())
	l, _, err = Open(dir, Options{})
	require.NoError(t, err)
	require.NoError(t, l.Close())
	require.ErrorIs(t, l.Append(entry(1)), ErrFailed)
}

func TestANewerFormatIsLeftAlone(t *testing.T) {
	d := NewMemoryDisk()
	l, _ := openOn(t, d)
	require.NoError(t, l.Append(entries(1, 3)...))
	require.NoError(t, l.Close())
	seg, err := d.Read(segmentA)
	require.NoError(t, err)
	copy(seg, appendHeader(nil, header{version: formatVersion + 1, size: uint32(len(seg)), generation: 1}))
	d.Put(segmentA, seg)
	ops := d.Operations()
	_, _, err = Open("memory", Options{Disk: d})
	require.ErrorIs(t, err, ErrNewer)
	require.Equal(t, ops, d.Operations())
	require.NoError(t, d.Lock(), "the lock is free again")
}

func TestSizeOnDiskNeverChanges(t *testing.T) {
	dir := t.TempDir()
	l, rec, err := Open(dir, Options{})
	require.NoError(t, err)
	require.True(t, rec.Fresh)
	was := sizes(t, dir)
	for i := uint64(0); i < 80; i++ {
		require.NoError(t, l.Append(entries(1+i*100, 100)...))
	}
	require.Greater(t, l.Stats().Segments, 1)
	require.Equal(t, was, sizes(t, dir))
	require.NoError(t, l.Close())
	l, rec, err = Open(dir, Options{})
	require.NoError(t, err)
	require.Equal(t, uint64(8000), rec.Memory.Seq)
	require.Equal(t, was, sizes(t, dir))
	require.NoError(t, l.Close())
}

// sizes gives length and allocated bytes of both segments.
func sizes(t *testing.T, dir string) [4]int64 {
	t.Helper()
	var s [4]int64
	for i, name := range []string{segmentA, segmentB} {
		info, err := os.Stat(filepath.Join(dir, name))
		require.NoError(t, err)
		s[2*i] = info.Size()
		s[2*i+1] = info.Sys().(*syscall.Stat_t).Blocks * 512
		require.Equal(t, int64(DefaultSize), s[2*i])
		require.GreaterOrEqual(t, s[2*i+1], s[2*i], "every block is allocated")
	}
	return s
}

func TestADirectoryThatCannotBeWritten(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	_, _, err := Open(filepath.Join(file, "ledger"), Options{})
	require.ErrorIs(t, err, syscall.ENOTDIR)
	require.ErrorIs(t, err, ErrFailed)
}

func lazy(seq uint64) *zones.Record {
	return &zones.Record{Seq: seq, Age: time.Duration(seq) * time.Minute, Kind: zones.RecProgress, Lazy: true}
}

func TestLazyRecordsWaitForAnother(t *testing.T) {
	d := NewMemoryDisk()
	l, _ := openOn(t, d)
	before := l.Stats()
	require.NoError(t, l.Append(lazy(1)))
	require.NoError(t, l.Append(lazy(2), lazy(3)))
	require.Equal(t, before, l.Stats())
	require.Zero(t, l.Memory().Seq, "what is not durable must not be mirrored")
	require.NoError(t, l.Append(entry(4)))
	require.Equal(t, before.Syncs+1, l.Stats().Syncs)
	require.Equal(t, uint64(4), l.Memory().Seq)

	require.NoError(t, l.Append(lazy(5)))
	require.NoError(t, l.Flush())
	require.Equal(t, uint64(5), l.Memory().Seq)
	require.NoError(t, l.Append(lazy(6)))
	d.Crash(nil)
	l, rec := openOn(t, d)
	require.Equal(t, uint64(5), rec.Memory.Seq)
	require.False(t, rec.Damaged)
	require.NoError(t, l.Append(lazy(6)))
	require.NoError(t, l.Close())
	_, rec = openOn(t, d)
	require.Equal(t, uint64(6), rec.Memory.Seq, "a clean end keeps them")
}

func TestLazyRecordsAreBounded(t *testing.T) {
	l, _ := openOn(t, NewMemoryDisk())
	for seq := uint64(1); seq <= heldMost; seq++ {
		require.NoError(t, l.Append(lazy(seq)))
	}
	require.Equal(t, uint64(heldMost), l.Memory().Seq)
	waiting := lazy(heldMost + 1)
	waiting.Wait = true
	require.NoError(t, l.Append(waiting))
	require.Equal(t, uint64(heldMost+1), l.Memory().Seq, "one that is awaited is never lazy")
}
