package ledger

import (
	"encoding/json"
	"errors"
	"fmt"
	"math/rand"
	"testing"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

var errDisk = errors.New("the disk said no")

// A power cut at any moment loses nothing that was acknowledged, invents nothing,
// and is never taken for damage.
func TestPowerCutKeepsEveryAcknowledgedRecord(t *testing.T) {
	const n = 60
	want := folds(t, n+10)
	tails := 0
	for seed := int64(0); seed < 200; seed++ {
		rng := rand.New(rand.NewSource(seed))
		d := NewMemoryDisk()
		l, _ := openOn(t, d)
		acked, sent := uint64(0), uint64(0)
		d.FailAt(1+rng.Intn(80), true, errDisk)
		for sent < n {
			batch := entries(sent+1, uint64(1+rng.Intn(4)))
			sent += uint64(len(batch))
			if l.Append(batch...) != nil {
				break
			}
			acked = sent
		}
		sent = max(sent, keepUnsynced(d, l))
		d.Crash(rng)
		_, rec := openOn(t, d)
		require.False(t, rec.Damaged || rec.Lost || rec.Fresh, "seed %d: %s", seed, rec.Detail)
		require.GreaterOrEqual(t, rec.Memory.Seq, acked, "seed %d", seed)
		require.LessOrEqual(t, rec.Memory.Seq, sent, "seed %d", seed)
		require.JSONEq(t, want[rec.Memory.Seq], text(t, rec.Memory), "seed %d", seed)
		tails += rec.TailDropped
	}
	require.Positive(t, tails, "some cuts must leave a torn tail")
}

// keepUnsynced writes a batch that is never synced, so that a crash can tear it;
// it returns the last seq in it.
func keepUnsynced(d *MemoryDisk, l *Ledger) uint64 {
	d.FailAt(0, false, nil)
	next := l.memory.Seq + 1
	buf := []byte(nil)
	for _, rec := range entries(next, 3) {
		buf = appendFrame(buf, frame{generation: l.generation, seq: rec.Seq, durable: l.memory.Seq,
			kind: recordFrame, payload: must(json.Marshal(rec))})
	}
	if l.file != nil && l.end+len(buf) <= l.fileSize {
		_, _ = l.file.WriteAt(buf, int64(l.end))
	}
	return next + 2
}

// Whatever goes wrong, at whatever operation: the caller hears of it, nothing is
// acknowledged afterwards, and the next start knows all that was.
func TestTheNthOperationFails(t *testing.T) {
	for _, onward := range []bool{false, true} {
		total := play(t, 0, onward)
		require.Greater(t, total, 60)
		for n := 1; n <= total; n++ {
			play(t, n, onward)
		}
	}
}

// play opens, appends and reopens with the nth operation failing; it returns the
// number of operations.
func play(t *testing.T, n int, onward bool) int {
	t.Helper()
	where := fmt.Sprintf("operation %d, onward %v", n, onward)
	d := NewMemoryDisk()
	if n > 0 {
		d.FailAt(n, onward, errDisk)
	}
	acked := uint64(0)
	l, _, err := Open("memory", Options{Disk: d, Size: minSize})
	for seq := uint64(1); err == nil && seq <= 40; seq++ {
		if err = l.Append(entry(seq)); err == nil {
			acked = seq
		}
	}
	ops := d.Operations()
	if n > 0 {
		require.ErrorIs(t, err, errDisk, where)
		if l != nil {
			require.ErrorIs(t, err, ErrFailed, where)
			require.ErrorIs(t, l.Append(entry(acked+1)), ErrFailed, where)
			require.Equal(t, ops, d.Operations(), "%s: a dead ledger touches nothing", where)
		}
	}
	d.Crash(rand.New(rand.NewSource(int64(n))))
	l, rec := openOn(t, d)
	require.False(t, rec.Lost || rec.Damaged, "%s: %s", where, rec.Detail)
	require.GreaterOrEqual(t, rec.Memory.Seq, acked, where)
	require.LessOrEqual(t, rec.Memory.Seq, acked+1, where)
	require.NoError(t, l.Append(entry(rec.Memory.Seq+1)), where)
	return ops
}

// written gives both segments after n records in batches of one, and the seq of
// the last.
func written(t *testing.T, n uint64) map[string][]byte {
	t.Helper()
	d := NewMemoryDisk()
	l, _ := openOn(t, d)
	for seq := uint64(1); seq <= n; seq++ {
		require.NoError(t, l.Append(entry(seq)))
	}
	return contents(t, d)
}

func contents(t *testing.T, d *MemoryDisk) map[string][]byte {
	t.Helper()
	all := map[string][]byte{}
	for _, name := range []string{segmentA, segmentB, marker} {
		data, err := d.Read(name)
		require.NoError(t, err)
		all[name] = data
	}
	return all
}

// recoverFrom opens what a disk would hold, and appends to it.
func recoverFrom(t *testing.T, files map[string][]byte) Recovered {
	t.Helper()
	d := NewMemoryDisk()
	for name, data := range files {
		d.Put(name, data)
	}
	l, rec := openOn(t, d)
	require.NoError(t, l.Append(entry(rec.Memory.Seq+1)))
	d.Crash(nil)
	_, again := openOn(t, d)
	require.Equal(t, rec.Memory.Seq+1, again.Memory.Seq)
	require.Equal(t, rec.Memory.Spent, again.Memory.Spent, "a loss stays known")
	require.False(t, again.Damaged || again.Lost, "damage is told once")
	return rec
}

// check says that a recovery is honest: either nothing but the last record is
// missing, or the loss is told.
func check(t *testing.T, rec Recovered, want []string, where string) {
	t.Helper()
	last := uint64(len(want) - 1)
	require.LessOrEqual(t, rec.Memory.Seq, last, where)
	require.False(t, rec.Fresh, where)
	if rec.Lost || rec.Damaged {
		require.True(t, rec.Memory.Spent, where)
		require.NotEmpty(t, rec.Detail, where)
		return
	}
	require.GreaterOrEqual(t, rec.Memory.Seq, last-1, where)
	require.JSONEq(t, want[rec.Memory.Seq], text(t, rec.Memory), where)
}

func TestAFlippedBitIsToldOrHarmless(t *testing.T) {
	for _, n := range []uint64{1, 7, 33, 61} {
		files, want := written(t, n), folds(t, n)
		told, rng := 0, rand.New(rand.NewSource(int64(n)))
		for range 400 {
			name := []string{segmentA, segmentB}[rng.Intn(2)]
			at, bit := rng.Intn(len(files[name])), byte(1)<<rng.Intn(8)
			files[name][at] ^= bit
			rec := recoverFrom(t, files)
			files[name][at] ^= bit
			check(t, rec, want, fmt.Sprintf("%d records, %s byte %d bit %d", n, name, at, bit))
			if rec.Damaged {
				told++
			}
		}
		require.True(t, told > 0 || n == 1, "%d records: no flip was noticed", n)
	}
}

func TestACutFileIsToldOrHarmless(t *testing.T) {
	for _, n := range []uint64{1, 33, 61} {
		files, want := written(t, n), folds(t, n)
		for _, name := range []string{segmentA, segmentB} {
			whole := files[name]
			for size := 0; size < len(whole); size += 37 {
				files[name] = whole[:size:size]
				check(t, recoverFrom(t, files), want, fmt.Sprintf("%d records, %s cut to %d", n, name, size))
			}
			files[name] = whole
		}
	}
}

// A hole over the last frame is the one that looks like a torn tail: only the
// mirror in the store can tell it.
func TestAZeroedSectorIsToldOrHarmless(t *testing.T) {
	for _, n := range []uint64{33, 61} {
		files, want := written(t, n), folds(t, n)
		newest, seg, err := newestOf(files)
		require.NoError(t, err)
		frames := ofGeneration(framesIn(files[newest]), seg.generation)
		last := frames[len(frames)-1]
		for _, name := range []string{segmentA, segmentB} {
			whole := files[name]
			for at := 0; at < len(whole); at += sector {
				hole := append([]byte(nil), whole...)
				clear(hole[at : at+sector])
				files[name] = hole
				if name == newest && at+sector > last.start {
					continue
				}
				check(t, recoverFrom(t, files), want, fmt.Sprintf("%d records, %s hole at %d", n, name, at))
			}
			files[name] = whole
		}
	}
}

func TestBothSegmentsGone(t *testing.T) {
	files := written(t, 30)
	for name, change := range map[string]func(map[string][]byte){
		"missing":         func(f map[string][]byte) { f[segmentA], f[segmentB] = nil, nil },
		"empty":           func(f map[string][]byte) { f[segmentA], f[segmentB] = []byte{}, []byte{} },
		"zeros":           func(f map[string][]byte) { clear(f[segmentA]); clear(f[segmentB]) },
		"zeros, unmarked": func(f map[string][]byte) { clear(f[segmentA]); clear(f[segmentB]); f[marker] = nil },
	} {
		t.Run(name, func(t *testing.T) {
			own := map[string][]byte{}
			for k, v := range files {
				own[k] = append([]byte(nil), v...)
			}
			change(own)
			rec := recoverFrom(t, own)
			require.True(t, rec.Lost && rec.Memory.Spent && !rec.Fresh)
		})
	}
}

func TestAnEmptyDirectoryBesideAUsedStoreIsALoss(t *testing.T) {
	_, rec, err := Open("memory", Options{Disk: NewMemoryDisk(), StoreExisted: true})
	require.NoError(t, err)
	require.True(t, rec.Lost && rec.Memory.Spent && !rec.Fresh)

	mirror := &zones.Memory{Seq: 70, Epoch: 9, Plan: "abc"}
	_, rec, err = Open("memory", Options{Disk: NewMemoryDisk(), Mirror: mirror})
	require.NoError(t, err)
	require.True(t, rec.Lost && rec.Memory.Spent)
	require.Equal(t, "abc", rec.Memory.Plan)
	require.Equal(t, uint32(9), rec.Memory.Epoch)
}

func TestALaterMirrorShowsALoss(t *testing.T) {
	d := NewMemoryDisk()
	for name, data := range written(t, 20) {
		d.Put(name, data)
	}
	open := func(m *zones.Memory) Recovered {
		l, rec, err := Open("memory", Options{Disk: d, Mirror: m, StoreExisted: true})
		require.NoError(t, err)
		require.NoError(t, l.Close())
		return rec
	}
	require.False(t, open(&zones.Memory{Seq: 20}).Damaged)
	rec := open(&zones.Memory{Seq: 21, Epoch: 400})
	require.True(t, rec.Damaged && rec.Memory.Spent)
	require.Equal(t, uint32(400), rec.Memory.Epoch)
	require.False(t, open(&zones.Memory{Seq: 21}).Damaged, "told once")
}

func TestEpochOutlivesTheLoss(t *testing.T) {
	files := written(t, 33)
	newest, _, err := newestOf(files)
	require.NoError(t, err)
	clear(files[newest][:headerSize+200]) // head and snapshot
	rec := recoverFrom(t, files)
	require.True(t, rec.Damaged)
	require.Equal(t, uint32(33), rec.Memory.Epoch, "entry 33 carries epoch 33")
}

// newestOf gives the name of the segment written last.
func newestOf(files map[string][]byte) (string, *segment, error) {
	a, err := parseSegment(segmentA, files[segmentA])
	if err != nil {
		return "", nil, err
	}
	b, err := parseSegment(segmentB, files[segmentB])
	if err != nil {
		return "", nil, err
	}
	if a.generation > b.generation {
		return segmentA, a, nil
	}
	return segmentB, b, nil
}

func TestAMissingMarkerComesBack(t *testing.T) {
	files := written(t, 5)
	text := files[marker]
	files[marker] = nil
	d := NewMemoryDisk()
	for name, data := range files {
		d.Put(name, data)
	}
	_, rec := openOn(t, d)
	require.False(t, rec.Fresh || rec.Lost || rec.Damaged)
	got, err := d.Read(marker)
	require.NoError(t, err)
	require.Equal(t, text, got)
}

// FuzzRecover: no bytes make recovery panic or give more than the bytes say, and
// what it gives can be gone on from.
func FuzzRecover(f *testing.F) {
	d := NewMemoryDisk()
	l, _, err := Open("memory", Options{Disk: d, Size: minSize})
	require.NoError(f, err)
	for seq := uint64(1); seq <= 30; seq++ {
		require.NoError(f, l.Append(entry(seq)))
	}
	a, _ := d.Read(segmentA)
	b, _ := d.Read(segmentB)
	f.Add(a, b, true)
	f.Add(a[:700], []byte{}, false)
	f.Fuzz(func(t *testing.T, a, b []byte, marked bool) {
		files := map[string][]byte{segmentA: a, segmentB: b}
		if marked {
			files[marker] = []byte("x")
		}
		d := NewMemoryDisk()
		for name, data := range files {
			d.Put(name, data)
		}
		l, rec, err := Open("memory", Options{Disk: d, Size: minSize})
		if errors.Is(err, ErrNewer) {
			return
		}
		require.NoError(t, err)
		require.NotNil(t, rec.Memory)
		require.NoError(t, l.Append(entry(rec.Memory.Seq+1)))
	})
}

// FuzzFold: a whole frame may carry any JSON; folding it never panics.
func FuzzFold(f *testing.F) {
	for seq := uint64(0); seq < 5; seq++ {
		f.Add(string(must(json.Marshal(entry(seq)))))
	}
	f.Add(`{"seq":1,"kind":"intent"}`)
	f.Add(`{"seq":1,"kind":"latch","latch":null}`)
	f.Fuzz(func(t *testing.T, payload string) {
		seg := appendHeader(nil, header{version: formatVersion, size: minSize, generation: 1})
		seg = appendFrame(seg, frame{generation: 1, kind: snapshotFrame, payload: must(json.Marshal(zones.NewMemory()))})
		seg = appendFrame(seg, frame{generation: 1, seq: 1, kind: recordFrame, payload: []byte(payload)})
		s, err := parseSegment(segmentA, append(seg, make([]byte, minSize)...))
		require.NoError(t, err)
		require.NotNil(t, s.memory)
		require.LessOrEqual(t, s.memory.Seq, uint64(1))
	})
}
