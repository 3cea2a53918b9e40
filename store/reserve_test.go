package store

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
	bolt "go.etcd.io/bbolt"
)

// used gives the bytes that pages take.
func used(t *testing.T, s *Store) (n int64) {
	t.Helper()
	require.NoError(t, s.view("look", func(tx *bolt.Tx) error {
		n = tx.Size()
		return nil
	}))
	return n
}

// Every commit meets blocks that are there already, and a restart adds none.
func TestBlocksAreThereBeforeThePages(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	s, _ := mustOpen(t, path)
	for day := range 12 {
		require.NoError(t, s.PutHistory(heavy(noon().AddDate(0, 0, day))))
		f, err := os.Open(path)
		require.NoError(t, err)
		require.GreaterOrEqual(t, firstHole(f, 0), used(t, s))
		require.NoError(t, f.Close())
	}
	require.Greater(t, used(t, s), int64(2*reserveStep))
	require.NoError(t, s.Close())
	before, err := os.Stat(path)
	require.NoError(t, err)
	for range 5 {
		s, opened := mustOpen(t, path)
		require.False(t, opened.Damaged)
		require.NoError(t, s.Close())
	}
	after, err := os.Stat(path)
	require.NoError(t, err)
	require.LessOrEqual(t, after.Size()-before.Size(), int64(reserveStep))
	for day := range 12 {
		d := noon().AddDate(0, 0, day)
		r, err := OpenReadOnly(path)
		require.NoError(t, err)
		points, err := r.History(ProbeMoisture, "p07", d, d.AddDate(0, 0, 1))
		require.NoError(t, err)
		require.Equal(t, wave("p07", d, 700)[0].Points, points)
		require.NoError(t, r.Close())
	}
	require.NoError(t, Check(path))
}
