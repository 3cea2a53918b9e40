package store

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"

	"rillgate/store/ledger"
	"rillgate/zones"
)

// tiny mounts a file system of so many bytes; it skips where that is not allowed.
func tiny(t *testing.T, size string) string {
	t.Helper()
	dir := t.TempDir()
	err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size="+size)
	if err != nil && os.Geteuid() != 0 {
		t.Skipf("mounting needs root: %v", err)
	}
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, syscall.Unmount(dir, syscall.MNT_DETACH)) })
	return dir
}

func TestOnAFullDisk(t *testing.T) {
	dir := tiny(t, "900k")
	path := filepath.Join(dir, "store.db")
	_, _, err := ledger.Open(filepath.Join(dir, "ledger"), ledger.Options{})
	require.ErrorIs(t, err, ledger.ErrFailed)
	require.ErrorIs(t, err, syscall.ENOSPC)

	s, _ := mustOpen(t, path)
	for day := range 20 {
		require.NoError(t, s.Write(Batch{History: heavy(noon().AddDate(0, 0, day))}), "old days make room")
	}
	require.Positive(t, s.Stats().DroppedDays)
	filler := filepath.Join(dir, "filler")
	_ = os.WriteFile(filler, make([]byte, 1<<20), 0o600) // all that is left
	err = nil
	for i := 0; err == nil && i < 50; i++ {
		err = s.SavePlan(Plan{Hash: string(rune('a' + i)), Room: make([]byte, 20_000), Accepted: noon()})
	}
	require.ErrorIs(t, err, ErrFull)
	_, err = s.PlanInForce()
	require.NoError(t, err, "what is there can be read")
	require.NoError(t, os.Remove(filler))
	require.NoError(t, s.SaveMirror(zones.NewMemory()), "with room again it goes on")
	require.NoError(t, s.Close())
	s, opened := mustOpen(t, path)
	require.False(t, opened.Damaged)
	require.NoError(t, s.Close())
}

func TestNoRoomEvenToBegin(t *testing.T) {
	dir := tiny(t, "16k")
	_, _, err := Open(filepath.Join(dir, "store.db"), fixed())
	require.ErrorIs(t, err, ErrFull)
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Empty(t, left)
}

func TestOnAReadOnlyDisk(t *testing.T) {
	dir := tiny(t, "8m")
	path, book := filepath.Join(dir, "store.db"), filepath.Join(dir, "ledger")
	s, _ := mustOpen(t, path)
	populate(t, s)
	require.NoError(t, s.Close())
	l, _, err := ledger.Open(book, ledger.Options{})
	require.NoError(t, err)
	require.NoError(t, l.Append(&zones.Record{Seq: 1, Kind: zones.RecEpoch, Epoch: 3}))
	require.NoError(t, l.Close())
	require.NoError(t, syscall.Mount("", dir, "", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""))

	_, _, err = Open(path, fixed())
	require.ErrorIs(t, err, ErrReadOnly)
	r, err := OpenReadOnly(path)
	require.NoError(t, err)
	whole(t, r)
	require.NoError(t, r.Close())
	_, rec, err := ledger.Open(book, ledger.Options{})
	require.ErrorIs(t, err, ledger.ErrFailed)
	require.Equal(t, uint32(3), rec.Memory.Epoch, "what is remembered can still be shown")
}

func TestADirectoryThatIsNotOurs(t *testing.T) {
	_, _, err := Open("/sys/rillgate-test/store.db", fixed())
	require.ErrorIs(t, err, ErrReadOnly)
}
