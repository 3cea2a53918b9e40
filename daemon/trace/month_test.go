package trace

import (
	"bytes"
	"flag"
	"io"
	"os"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// long lets the tests run that take longer than the rest together:
//
//	go test ./daemon/trace -run ReplayMonth -rillgate.long -v
var long = flag.Bool("rillgate.long", false, "run the long tests")

const monthDays = 30

// TestReplayMonth replays a month of one room: 40 probes in 4 zones, a reading a
// minute each, 1.7 million lines, and tells how long it took.
func TestReplayMonth(t *testing.T) {
	if !*long {
		t.Skip("takes a while: -rillgate.long runs it")
	}
	plan := benches(4)
	file, err := os.CreateTemp(t.TempDir(), "month-*.jsonl")
	require.NoError(t, err)
	defer file.Close()
	require.NoError(t, writeReadings(file, plan, start, monthDays*24*60))
	size, err := file.Seek(0, io.SeekCurrent)
	require.NoError(t, err)
	_, err = file.Seek(0, io.SeekStart)
	require.NoError(t, err)

	began, cpu := time.Now(), processorTime(t)
	out := &counter{}
	require.NoError(t, Replay(plan, file, out))
	took := time.Since(began)
	cpu = processorTime(t) - cpu
	lines := monthDays * 24 * 60 * len(plan.Probes)
	t.Logf("%d lines, %.0f MB in, %d lines out: %.1f s on the clock, %.1f s of processor", lines, float64(size)/1e6, out.lines, took.Seconds(), cpu.Seconds())
	require.Greater(t, out.lines, monthDays*4*10, "a month without water proves nothing")
	// On an idle machine the clock shows no more than the processor time, since one
	// of the two goroutines is always at work; on a busy one it shows the others too.
	require.Less(t, min(took, cpu), 20*time.Second)
}

func processorTime(t *testing.T) time.Duration {
	var u syscall.Rusage
	require.NoError(t, syscall.Getrusage(syscall.RUSAGE_SELF, &u))
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// counter counts lines.
type counter struct{ lines int }

func (c *counter) Write(b []byte) (int, error) {
	c.lines += bytes.Count(b, []byte{'\n'})
	return len(b), nil
}

// BenchmarkReplay measures a day; BenchmarkRead only its decoding.
func BenchmarkReplay(b *testing.B) {
	plan := benches(4)
	day := dayOfReadings(b)
	for b.Loop() {
		require.NoError(b, Replay(plan, bytes.NewReader(day), io.Discard))
	}
	b.ReportMetric(float64(b.N)*24*60*40/b.Elapsed().Seconds(), "lines/s")
}

func BenchmarkRead(b *testing.B) {
	day := dayOfReadings(b)
	for b.Loop() {
		r := NewReader(bytes.NewReader(day))
		for {
			if _, err := r.Next(); err != nil {
				require.ErrorIs(b, err, io.EOF)
				break
			}
		}
	}
	b.ReportMetric(float64(b.N)*24*60*40/b.Elapsed().Seconds(), "lines/s")
}

func dayOfReadings(b *testing.B) []byte {
	var day bytes.Buffer
	require.NoError(b, writeReadings(&day, benches(4), start, 24*60))
	return day.Bytes()
}
