package store

import (
	"bufio"
	"fmt"
	"math/rand"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/store/ledger"
	"rillgate/zones"
)

const victimVariable = "STORE_TEST_VICTIM"

// victimMain is the child that is killed: it says a number when both store and
// ledger hold it.
func victimMain() {
	dir := os.Getenv(victimVariable)
	if dir == "" {
		return
	}
	err := write(dir, func(seq uint64) { fmt.Println(seq) })
	fmt.Println(err)
	os.Exit(1)
}

// write opens both and goes on for ever.
func write(dir string, acked func(uint64)) error {
	s, _, err := Open(filepath.Join(dir, "store.db"), Options{})
	if err != nil {
		return err
	}
	l, rec, err := ledger.Open(filepath.Join(dir, "ledger"), ledger.Options{Size: 8192})
	if err != nil {
		return err
	}
	for seq := rec.Memory.Seq + 1; ; seq++ {
		if err := l.Append(&zones.Record{Seq: seq, Kind: zones.RecAge}); err != nil {
			return err
		}
		e := JournalEntry{Seq: seq, At: time.Now(), Entry: zones.Entry{Kind: "note"}}
		if err := s.Write(Batch{Journal: []JournalEntry{e}, Mirror: l.Memory()}); err != nil {
			return err
		}
		acked(seq)
	}
}

// Killed at any moment, both hold every number that was said, the ledger at most
// one more than the store, and nothing counts as damaged.
func TestKilledAtAnyMoment(t *testing.T) {
	dir, rng, last := t.TempDir(), rand.New(rand.NewSource(3)), uint64(0)
	for range 8 {
		last = max(last, killed(t, dir, rng.Intn(30)))
		s, opened, err := Open(filepath.Join(dir, "store.db"), Options{})
		require.NoError(t, err)
		require.False(t, opened.Damaged, opened.Detail)
		mirror, err := s.Mirror()
		require.NoError(t, err)
		require.GreaterOrEqual(t, mirror.Seq, last)
		tail, err := s.JournalTail(1, nil)
		require.NoError(t, err)
		require.Equal(t, mirror.Seq, tail[0].Seq)
		require.NoError(t, s.Close())
		l, rec, err := ledger.Open(filepath.Join(dir, "ledger"), ledger.Options{Mirror: mirror, Size: 8192})
		require.NoError(t, err)
		require.False(t, rec.Damaged || rec.Lost || rec.Fresh, rec.Detail)
		require.LessOrEqual(t, rec.Memory.Seq, mirror.Seq+1)
		require.NoError(t, l.Close())
	}
	require.Greater(t, last, uint64(50))
}

// killed runs the child until it said at least n numbers; it gives the last one.
func killed(t *testing.T, dir string, n int) (last uint64) {
	t.Helper()
	child := exec.Command(os.Args[0])
	child.Env = append(os.Environ(), victimVariable+"="+dir)
	out, err := child.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, child.Start())
	lines := bufio.NewScanner(out)
	for said := 0; lines.Scan(); said++ {
		_, err := fmt.Sscan(lines.Text(), &last)
		require.NoError(t, err, lines.Text())
		if said == n {
			require.NoError(t, child.Process.Kill())
		}
	}
	require.Error(t, child.Wait(), "it was killed")
	require.NotZero(t, last)
	return last
}
