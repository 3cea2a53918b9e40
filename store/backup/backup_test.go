package backup

import (
	"archive/tar"
	"bytes"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/store"
	"rillgate/store/ledger"
	"rillgate/zones"
)

func TestMain(m *testing.M) {
	store.ProbeMain()
	os.Exit(m.Run())
}

func noon() time.Time { return time.Date(2025, 3, 1, 12, 0, 0, 0, time.UTC) }

// room is a store and a ledger in a directory.
type room struct {
	dir    string
	store  *store.Store
	ledger *ledger.Ledger
	seq    uint64
}

func openRoom(t *testing.T, dir string) (*room, ledger.Recovered) {
	t.Helper()
	s, opened, err := store.Open(filepath.Join(dir, "store.db"), store.Options{Now: noon})
	require.NoError(t, err)
	require.False(t, opened.Damaged, opened.Detail)
	mirror, err := s.Mirror()
	require.NoError(t, err)
	l, rec, err := ledger.Open(filepath.Join(dir, "ledger"), ledger.Options{Mirror: mirror})
	require.NoError(t, err)
	return &room{dir: dir, store: s, ledger: l, seq: rec.Memory.Seq}, rec
}

func (r *room) close(t *testing.T) {
	t.Helper()
	require.NoError(t, r.store.Close())
	require.NoError(t, r.ledger.Close())
}

func (r *room) record(t *testing.T, rec zones.Record) {
	t.Helper()
	r.seq++
	rec.Seq = r.seq
	require.NoError(t, r.ledger.Append(&rec))
}

func (r *room) install(s *Staged) (Result, error) {
	return s.Install(filepath.Join(r.dir, "store.db"), filepath.Join(r.dir, "ledger"), noon())
}

// lived is a room in which something happened, and its backup.
func lived(t *testing.T) (*room, []byte) {
	t.Helper()
	r, _ := openRoom(t, t.TempDir())
	out := zones.Output{Controller: "north", Number: 1}
	r.record(t, zones.Record{Kind: zones.RecStart, Epoch: 5})
	r.record(t, zones.Record{Kind: zones.RecLatch, Latch: &zones.LatchRecord{Code: zones.NoResponse, Outputs: []zones.Output{out}}})
	require.NoError(t, r.store.SavePlan(store.Plan{Hash: "aa", Room: []byte("room: a\n"), Accepted: noon()}))
	require.NoError(t, r.store.Write(store.Batch{
		Journal: []store.JournalEntry{{Seq: 1, At: noon(), Entry: zones.Entry{Kind: "note", Note: "before"}}},
		Mirror:  r.ledger.Memory()}))
	var b bytes.Buffer
	m, err := Write(&b, r.store, r.ledger, r.dir, noon())
	require.NoError(t, err)
	require.Equal(t, uint32(5), m.Epoch)
	require.Equal(t, uint64(2), m.Seq)
	left, err := filepath.Glob(filepath.Join(r.dir, ".backup-*"))
	require.NoError(t, err)
	require.Empty(t, left)
	return r, b.Bytes()
}

func TestABackupOnANewCard(t *testing.T) {
	old, data := lived(t)
	old.close(t)
	fresh := &room{dir: t.TempDir()}
	s, err := Stage(bytes.NewReader(data), fresh.dir)
	require.NoError(t, err)
	done, err := fresh.install(s)
	require.NoError(t, err)
	require.Equal(t, Result{}, done)
	s.Discard()

	r, rec := openRoom(t, fresh.dir)
	require.False(t, rec.Fresh || rec.Lost || rec.Damaged, rec.Detail)
	require.True(t, rec.Memory.Spent, "what was given since is not known")
	require.True(t, rec.Memory.Outputs["north/1"].Spent)
	require.Equal(t, zones.NoResponse, rec.Memory.Outputs["north/1"].Latches[0].Code)
	require.Equal(t, uint32(5), rec.Memory.Epoch)
	p, err := r.store.PlanInForce()
	require.NoError(t, err)
	require.Equal(t, "room: a\n", string(p.Room))
	r.close(t)
	left, err := filepath.Glob(filepath.Join(fresh.dir, ".restore-*"))
	require.NoError(t, err)
	require.Empty(t, left)
}

func TestABackupBesideASoundLedger(t *testing.T) {
	r, data := lived(t)
	r.record(t, zones.Record{Kind: zones.RecEpoch, Epoch: 6})
	require.NoError(t, r.store.AppendJournal([]store.JournalEntry{{Seq: 2, At: noon(), Entry: zones.Entry{Kind: "note", Note: "after"}}}))
	s, err := Stage(bytes.NewReader(data), r.dir)
	require.NoError(t, err)
	defer s.Discard()
	_, err = r.install(s)
	require.ErrorIs(t, err, ledger.ErrLocked, "a daemon holds the room")
	r.close(t)
	done, err := r.install(s)
	require.NoError(t, err)
	require.True(t, done.LedgerKept)
	require.FileExists(t, done.Kept)

	r, rec := openRoom(t, r.dir)
	require.False(t, rec.Memory.Spent)
	require.Equal(t, uint32(6), rec.Memory.Epoch)
	lines, err := r.store.Journal(0, 0)
	require.NoError(t, err)
	require.Len(t, lines, 1)
	require.Equal(t, "before", lines[0].Note)
	require.Greater(t, r.store.NextSeq(), uint64(100_000), "no number is given twice")
	r.close(t)
}

// A backup of a room that lived longer: its mirror must not pass for what the
// ledger in place has lost.
func TestABackupOfAnotherLife(t *testing.T) {
	_, data := lived(t)
	r, _ := openRoom(t, t.TempDir())
	r.record(t, zones.Record{Kind: zones.RecStart, Epoch: 1})
	r.close(t)
	s, err := Stage(bytes.NewReader(data), r.dir)
	require.NoError(t, err)
	defer s.Discard()
	done, err := r.install(s)
	require.NoError(t, err)
	require.True(t, done.LedgerKept)
	r, rec := openRoom(t, r.dir)
	require.False(t, rec.Damaged || rec.Memory.Spent, rec.Detail)
	require.Equal(t, uint32(1), rec.Memory.Epoch)
	r.close(t)
}

// Any byte changed, any length short of the whole: refused, and nothing laid ready.
func TestABrokenBackupIsRefused(t *testing.T) {
	r, data := lived(t)
	r.close(t)
	refused := func(b []byte, what string, at int) {
		dir := t.TempDir()
		_, err := Stage(bytes.NewReader(b), dir)
		require.ErrorIs(t, err, ErrDamaged, "%s at %d", what, at)
		left, err := os.ReadDir(dir)
		require.NoError(t, err)
		require.Empty(t, left)
	}
	end := used(t, data)
	for at := 0; at < end; at += end / 60 {
		refused(data[:at], "cut", at)
		if payload(t, data, at) {
			flipped := bytes.Clone(data)
			flipped[at] ^= 8
			refused(flipped, "flip", at)
		}
	}
	refused([]byte("no backup at all"), "text", 0)
	refused(nil, "nothing", 0)
}

// used gives where the last member ends.
func used(t *testing.T, data []byte) int {
	t.Helper()
	end := 0
	spans(t, data, func(_, to int) { end = max(end, to) })
	return end
}

// payload reports whether a byte is part of a member's content: tar's own headers
// carry times and owners that nobody reads.
func payload(t *testing.T, data []byte, at int) (in bool) {
	t.Helper()
	spans(t, data, func(from, to int) { in = in || at >= from && at < to })
	return in
}

func spans(t *testing.T, data []byte, visit func(from, to int)) {
	t.Helper()
	r := bytes.NewReader(data)
	for tr := tar.NewReader(r); ; {
		h, err := tr.Next()
		if err == io.EOF {
			return
		}
		require.NoError(t, err)
		from := len(data) - r.Len()
		visit(from, from+int(h.Size))
	}
}

func TestStrangeMembersAreRefused(t *testing.T) {
	_, data := lived(t)
	for name, members := range map[string][]string{
		"outside":  {"../../store.db"},
		"stranger": {"authorized_keys"},
		"twice":    {storeName, storeName},
	} {
		t.Run(name, func(t *testing.T) {
			var b bytes.Buffer
			w := tar.NewWriter(&b)
			for _, m := range members {
				require.NoError(t, member(w, m, 3, noon()))
				_, err := w.Write([]byte("abc"))
				require.NoError(t, err)
			}
			require.NoError(t, w.Close())
			_, err := Stage(&b, t.TempDir())
			require.ErrorIs(t, err, ErrDamaged)
		})
	}
	require.NotEmpty(t, data)
}

func TestABackupOfALaterFormatIsRefused(t *testing.T) {
	var b bytes.Buffer
	w := tar.NewWriter(&b)
	list, err := json.Marshal(Manifest{Format: format + 1})
	require.NoError(t, err)
	require.NoError(t, member(w, manifestName, int64(len(list)), noon()))
	_, err = w.Write(list)
	require.NoError(t, err)
	require.NoError(t, w.Close())
	_, err = Stage(&b, t.TempDir())
	require.ErrorIs(t, err, ErrNewer)
}

// A backup made while both are written holds one moment, and is never behind itself.
func TestABackupWhileTheRoomRuns(t *testing.T) {
	r, _ := lived(t)
	stop, done := make(chan struct{}), make(chan error, 1)
	go func() {
		done <- func() error {
			for seq := uint64(3); ; seq++ {
				select {
				case <-stop:
					return nil
				default:
				}
				if err := r.ledger.Append(&zones.Record{Seq: seq, Kind: zones.RecAge}); err != nil {
					return err
				}
				e := store.JournalEntry{Seq: seq, At: noon(), Entry: zones.Entry{Kind: "note"}}
				if err := r.store.Write(store.Batch{Journal: []store.JournalEntry{e}, Mirror: r.ledger.Memory()}); err != nil {
					return err
				}
			}
		}()
	}()
	for range 5 {
		var b bytes.Buffer
		m, err := Write(&b, r.store, r.ledger, r.dir, noon())
		require.NoError(t, err)
		fresh := &room{dir: t.TempDir()}
		s, err := Stage(&b, fresh.dir)
		require.NoError(t, err)
		_, err = fresh.install(s)
		require.NoError(t, err)
		s.Discard()
		copied, rec := openRoom(t, fresh.dir)
		require.False(t, rec.Lost || rec.Damaged, rec.Detail)
		require.Equal(t, m.Seq, rec.Memory.Seq)
		copied.close(t)
	}
	close(stop)
	require.NoError(t, <-done)
	r.close(t)
}

// fault is a writer that takes only so much.
type fault struct{ left int }

func (f *fault) Write(b []byte) (int, error) {
	if f.left -= len(b); f.left < 0 {
		return 0, io.ErrClosedPipe
	}
	return len(b), nil
}

func TestAWriterThatBreaksIsTold(t *testing.T) {
	r, data := lived(t)
	for n := 0; n < len(data); n += len(data) / 7 {
		_, err := Write(&fault{n}, r.store, r.ledger, r.dir, noon())
		require.ErrorIs(t, err, io.ErrClosedPipe)
	}
	left, err := filepath.Glob(filepath.Join(r.dir, ".backup-*"))
	require.NoError(t, err)
	require.Empty(t, left)
	r.close(t)
}
