package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// syncTimes times the sync of one page as the ledger does it, in place, in a file of
// fixed size in the ledger's folder, ten times a second, through both sides' turns.
type syncTimes struct {
	stop chan struct{}
	done chan struct{}
	all  []time.Duration
	err  error
}

func startSyncs(t *testing.T, folder string) *syncTimes {
	t.Helper()
	const page, pages = 4096, 64
	f, err := os.Create(filepath.Join(folder, "sync-test"))
	require.NoError(t, err)
	_, err = f.Write(make([]byte, page*pages))
	require.NoError(t, err)
	require.NoError(t, f.Sync())
	s := &syncTimes{stop: make(chan struct{}), done: make(chan struct{})}
	go func() {
		defer close(s.done)
		defer f.Close()
		tick := time.NewTicker(100 * time.Millisecond)
		defer tick.Stop()
		for i := 0; s.err == nil; i++ {
			select {
			case <-s.stop:
				return
			case <-tick.C:
			}
			data := bytes.Repeat([]byte{byte(i)}, page)
			began := time.Now()
			if _, s.err = f.WriteAt(data, int64(i%pages)*page); s.err == nil {
				s.err = unix.Fdatasync(int(f.Fd()))
			}
			s.all = append(s.all, time.Since(began))
		}
	}()
	return s
}

func (s *syncTimes) end(t *testing.T) []time.Duration {
	t.Helper()
	close(s.stop)
	<-s.done
	require.NoError(t, s.err)
	return s.all
}

// Targets: times the bare client's, with one sync more where an opening is recorded.
const (
	benchMedianTimes = 1.5
	benchTailTimes   = 2.0
)

func judge(t *testing.T, bare, gateway *side, syncs []time.Duration) {
	t.Helper()
	answers := slices.Concat(bare.openings, bare.closings)
	sync := quantile(syncs, 0.5)
	fmt.Printf("sync of a 4 KiB page: median %s, 99 %% %s of %d\n", us(sync), us(quantile(syncs, 0.99)), len(syncs))
	fmt.Printf("bare client, answers: median %s, 99 %% %s of %d (%d commands that nobody waited for)\n",
		us(quantile(answers, 0.5)), us(quantile(answers, 0.99)), len(answers), bare.strange)
	closed := compare("closings", gateway.closings, answers, 0)
	opened := compare("openings", gateway.openings, answers, sync)
	require.Zero(t, gateway.strange, "commands that no crossing asked for")
	require.True(t, closed, "closings come too late")
	require.True(t, opened, "openings come too late")
}

// compare tells how the gateway's times stand to the bare client's, and whether that
// is within the targets.
func compare(name string, all, answers []time.Duration, sync time.Duration) bool {
	median, tail := quantile(all, 0.5), quantile(all, 0.99)
	medians := float64(median-sync) / float64(quantile(answers, 0.5))
	tails := float64(tail-sync) / float64(quantile(answers, 0.99))
	less := ""
	if sync > 0 {
		less = "less one sync "
	}
	fmt.Printf("gateway, %s: median %s, 99 %% %s of %d: %s%.2f and %.2f times the bare client's\n",
		name, us(median), us(tail), len(all), less, medians, tails)
	return len(all) >= 20 && medians <= benchMedianTimes && tails <= benchTailTimes
}

func quantile(all []time.Duration, q float64) time.Duration {
	all = slices.Sorted(slices.Values(all))
	return all[min(int(q*float64(len(all))), len(all)-1)]
}

func us(d time.Duration) string { return fmt.Sprintf("%d µs", d.Microseconds()) }
