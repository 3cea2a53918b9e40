package store

import (
	"encoding/binary"
	"math/rand"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	bolt "go.etcd.io/bbolt"

	"rillgate/zones"
)

func TestAFullDiskGivesUpHistory(t *testing.T) {
	child := exec.Command(os.Args[0])
	child.Env = append(os.Environ(), limitVariable+"="+filepath.Join(t.TempDir(), "store.db"))
	out, err := child.CombinedOutput()
	require.NoError(t, err, string(out))
}

// sound gives the bytes of a store that was closed, and of one that was not.
func sound(t *testing.T, closed bool) []byte {
	t.Helper()
	path := filepath.Join(t.TempDir(), "store.db")
	s, _ := mustOpen(t, path)
	populate(t, s)
	if closed {
		require.NoError(t, s.Close())
	} else {
		require.NoError(t, s.db.Close())
	}
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	return data
}

func TestAFileThatIsNoStoreIsPutAside(t *testing.T) {
	data := sound(t, true)
	for name, broken := range map[string][]byte{
		"empty":     {},
		"short":     data[:5000],
		"zeros":     make([]byte, 1<<20),
		"text":      []byte(strings.Repeat("not a store at all\n", 5000)),
		"cut":       data[:4*4096],
		"no schema": emptyBolt(t),
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "store.db")
			require.NoError(t, os.WriteFile(path, broken, 0o600))
			s, opened := mustOpen(t, path)
			require.True(t, opened.Damaged)
			require.NotEmpty(t, opened.Detail)
			require.Equal(t, path+".damaged-20250301T120000Z", opened.Kept)
			kept, err := os.ReadFile(opened.Kept)
			require.NoError(t, err)
			require.Equal(t, broken, kept)
			populate(t, s)
			whole(t, s)
			require.NoError(t, s.Close())
		})
	}
}

// emptyBolt is a sound file of bbolt with nothing of ours in it.
func emptyBolt(t *testing.T) []byte {
	t.Helper()
	path := filepath.Join(t.TempDir(), "x.db")
	db, err := bolt.Open(path, 0o600, nil)
	require.NoError(t, err)
	require.NoError(t, db.Close())
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	return data
}

func TestOnlyTheLastDamagedFilesAreKept(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "store.db")
	for range 6 {
		require.NoError(t, os.WriteFile(path, nil, 0o600))
		s, opened := mustOpen(t, path)
		require.True(t, opened.Damaged)
		require.NoError(t, s.Close())
	}
	kept, err := filepath.Glob(path + ".damaged-*")
	require.NoError(t, err)
	require.Len(t, kept, keptFiles)
}

// Whatever is done to a page, this process lives, no wrong value comes out, and
// the store that is given can be written.
func TestDamagedPagesNeverKillNorLie(t *testing.T) {
	for _, closed := range []bool{true, false} {
		data := sound(t, closed)
		live := int(binary.LittleEndian.Uint64(data[16+40:])) // high water mark of meta 0, in pages
		rng := rand.New(rand.NewSource(5))
		aside := 0
		for range 25 {
			path := filepath.Join(t.TempDir(), "store.db")
			require.NoError(t, os.WriteFile(path, damaged(data, live, rng), 0o600))
			s, opened := mustOpen(t, path)
			if opened.Damaged {
				aside++
			}
			honest(t, s, opened.Damaged)
			_ = s.Close()
		}
		require.Positive(t, aside)
		t.Logf("closed %v: %d of 25 put aside", closed, aside)
	}
}

// damaged spoils one live page: a bit, a hole, or another page in its place.
func damaged(data []byte, live int, rng *rand.Rand) []byte {
	out := append([]byte(nil), data...)
	page := rng.Intn(min(live, len(data)/4096))
	p := out[page*4096 : page*4096+4096]
	switch rng.Intn(3) {
	case 0:
		p[rng.Intn(len(p))] ^= 1 << rng.Intn(8)
	case 1:
		clear(p)
	case 2:
		copy(p, data[rng.Intn(live)*4096:])
	}
	return out
}

// honest reads all: what comes is what was written, or nothing, or an error.
func honest(t *testing.T, s *Store, empty bool) {
	t.Helper()
	if lines, err := s.Journal(1, 0); err == nil {
		require.LessOrEqual(t, len(lines), 300)
		for i := range lines {
			require.Equal(t, "it rests until 12:40", lines[i].Because)
			require.Equal(t, noon().Add(time.Duration(lines[i].Seq-1)*time.Minute), lines[i].At)
		}
	}
	if points, err := s.History(ProbeMoisture, "east-1", noon(), noon().Add(5*time.Hour)); err == nil {
		require.Subset(t, wave("east-1", noon(), 300)[0].Points, points)
	}
	if p, err := s.PlanInForce(); err == nil {
		require.Equal(t, "bb", p.Hash)
		require.Equal(t, "room: b\n", string(p.Room))
	}
	if m, err := s.Mirror(); err == nil && m != nil {
		require.Equal(t, uint32(7), m.Epoch)
	}
	if empty {
		require.NoError(t, s.SaveMirror(zones.NewMemory()))
	}
}

func TestDamageMetWhileRunningIsLookedAtNextTime(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	require.NoError(t, os.WriteFile(path, sound(t, true), 0o600))
	s, opened := mustOpen(t, path)
	require.False(t, opened.Damaged)
	err := s.judge("read", guarded(func() error { var p *Probe; _ = p.ID; return nil }))
	require.ErrorIs(t, err, ErrDamaged)
	require.ErrorIs(t, s.SaveMirror(zones.NewMemory()), ErrDamaged, "it is over")
	require.FileExists(t, path+suspectSuffix)
	require.NoError(t, s.db.Close())
	s, opened = mustOpen(t, path)
	require.False(t, opened.Damaged, "every page was checked, and all are sound")
	require.NoError(t, s.Close())
	require.NoFileExists(t, path+suspectSuffix)
}

func TestADamagedValueIsLeftOutAndCounted(t *testing.T) {
	s := inMemory(t)
	populate(t, s)
	require.NoError(t, s.db.Update(func(tx *bolt.Tx) error {
		b := tx.Bucket([]byte(journalBucket))
		v := append([]byte(nil), b.Get(seqKey(7))...)
		v[len(v)-3] ^= 1
		if err := b.Put(seqKey(7), v); err != nil {
			return err
		}
		return b.Put(seqKey(9), b.Get(seqKey(8))) // another one's value
	}))
	lines, err := s.Journal(1, 0)
	require.NoError(t, err)
	require.Len(t, lines, 298)
	require.Equal(t, int64(2), s.Stats().DamagedValues)
}

func TestADamagedMirrorIsNotGiven(t *testing.T) {
	s := inMemory(t)
	populate(t, s)
	require.NoError(t, s.db.Update(func(tx *bolt.Tx) error {
		return tx.Bucket([]byte(mirrorBucket)).Put([]byte(keyMemory), []byte(`{"seq":99}`))
	}))
	_, err := s.Mirror()
	require.ErrorIs(t, err, ErrDamaged)
}

func TestAProgramThatCannotStartAChildSaysSo(t *testing.T) {
	err := verdict(&exec.Error{Name: "x", Err: os.ErrPermission}, "", "")
	require.NotErrorIs(t, err, ErrDamaged)
	require.ErrorContains(t, err, "start a child")
}
