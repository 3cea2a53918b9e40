package main

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

var (
	benchWanted = flag.Bool("rillgate.bench", false, "measure reading published to command seen against a bare client")
	benchRounds = flag.Int("rillgate.rounds", 3, "rounds of that measurement, each side once a round")
	benchPhase  = flag.Duration("rillgate.phase", time.Minute, "how long one side has the broker in a round")
	benchRate   = flag.Int("rillgate.rate", 1000, "readings a second")
	benchZones  = flag.Int("rillgate.zones", 20, "zones of two probes and one valve each")
)

// What probes say: the usual, and the two crossings, which only the first probe of a
// zone ever has. Its zone's moisture is the mean of two. A crossing is never a fall of
// more than 10 points, which the daemon would not believe.
const (
	benchUsual = 0.48
	benchDry   = 0.458 // with a usual one 46.9 %: under the level of 47 %
	benchHigh  = 0.502 // with a usual one 49.1 %: over the highest of 49 %
	benchBelow = 0.46  // where the bare client opens
	benchWet   = 0.50  // where it closes
)

// What one zone does in turn.
const (
	benchRests = iota
	benchOpening
	benchOpen
	benchClosing
)

// benchZone is one zone of one side.
type benchZone struct {
	phase int
	next  time.Time // of the next crossing
	sent  time.Time // of the crossing under way
}

// side is one of the two that are compared.
type side struct {
	name string
	root string
	mu   sync.Mutex
	zone []benchZone

	openings, closings []time.Duration
	strange            int // commands that no crossing asked for
}

// value gives what a zone's probe says now; cross tells that it is the reading that
// a command is awaited for.
func (s *side) value(zone int, now time.Time, crossings bool) (moisture float64, cross bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	z := &s.zone[zone]
	due := !now.Before(z.next)
	switch {
	case z.phase == benchRests && due && crossings:
		z.phase = benchOpening
		return benchDry, true
	case z.phase == benchOpening:
		return benchDry, false
	case z.phase == benchOpen && due:
		z.phase = benchClosing
		return benchHigh, true
	case z.phase == benchClosing:
		return benchHigh, false
	}
	return benchUsual, false
}

// crossed notes when a crossing goes to the kernel, which is next.
func (s *side) crossed(zone int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.zone[zone].sent = time.Now()
}

// seen is told of each command as it comes.
func (s *side) seen(output int, open bool, at time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	z := &s.zone[output-1]
	switch {
	case z.phase == benchOpening && open:
		s.openings = append(s.openings, at.Sub(z.sent))
		z.phase, z.next = benchOpen, at.Add(time.Second+spread(output, len(s.openings)))
	case z.phase == benchClosing && !open:
		s.closings = append(s.closings, at.Sub(z.sent))
		z.phase, z.next = benchRests, at.Add(11*time.Second+spread(output, len(s.closings)))
	default:
		s.strange++
	}
}

// spread keeps the zones from falling into step.
func spread(a, b int) time.Duration { return time.Duration((a*7919+b*104729)%1000) * time.Millisecond }

func (s *side) resting() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return !slices.ContainsFunc(s.zone, func(z benchZone) bool { return z.phase != benchRests })
}

func newSide(name, root string) *side {
	s := &side{name: name, root: root, zone: make([]benchZone, *benchZones)}
	for i := range s.zone {
		s.zone[i].next = time.Now().Add(2*time.Second + time.Duration(i)*12*time.Second/time.Duration(len(s.zone)))
	}
	return s
}

// TestReadingToCommand measures the time from a reading published to the command seen
// that it leads to, beside a bare client that answers such a reading at once, on one
// broker in one run.
func TestReadingToCommand(t *testing.T) {
	if !*benchWanted {
		t.Skip("measures only with -rillgate.bench")
	}
	r := newRig(t)
	url := strings.Replace(r.broker.URL(), "mqtt://", "tcp://", 1)
	r.write("room.yaml", benchRoom(*benchZones, 2, "max_run: 60 s, min_rest: 10 s, max_per_day: 12 h, max_moisture: 49 %", 1))
	r.write("schedule.yaml", benchSchedule(*benchZones, "below: 47 %, shot: 30 s, rest: 10 s"))
	gateway, bare := newSide("gateway", gatewayRoot), newSide("bare", bareRoot)
	startBare(t, url)
	newBenchController(t, url, "north-gateway", gatewayRoot, *benchZones, gateway.seen)
	newBenchController(t, url, "north-bare", bareRoot, *benchZones, bare.seen)
	out := newRawReadings(t, url, "readings")
	r.start()
	sideTurn(t, out, gateway, 20*time.Second, false) // the boot hold, and the alarms of a start
	gateway.strange = 0                              // each output was closed first
	var syncs []time.Duration
	for range *benchRounds {
		sideTurn(t, out, bare, *benchPhase, true)
		syncs = append(syncs, measureSyncs(t, r.state)...)
		sideTurn(t, out, gateway, *benchPhase, true)
	}
	code, _ := r.stop(syscall.SIGTERM)
	require.Zero(t, code, r.said.String())
	judge(t, bare, gateway, syncs)
}

// sideTurn gives one side the readings for a while; then no more crossings begin, and
// those under way come to their end.
func sideTurn(t *testing.T, out *rawReadings, s *side, long time.Duration, crossings bool) {
	t.Helper()
	began := time.Now()
	tick := time.NewTicker(time.Millisecond)
	defer tick.Stop()
	sent := 0
	for now := range tick.C {
		since := now.Sub(began)
		if since > long+10*time.Second {
			require.FailNow(t, "a command never came", "%s: %+v", s.name, s.zone)
		}
		if since > long && s.resting() {
			break
		}
		for ; sent < int(since.Seconds()*float64(*benchRate)); sent++ {
			probe := sent % (2 * len(s.zone))
			zone, v, cross := probe/2, benchUsual, false
			if probe%2 == 0 {
				v, cross = s.value(zone, now, crossings && since <= long)
			}
			packet := readingPacket(t, s.root, probe, v)
			if cross {
				s.crossed(zone)
			}
			_, err := out.conn.Write(packet)
			require.NoError(t, err)
		}
	}
	fmt.Printf("%s: %.0f readings/s for %s\n", s.name, float64(sent)/time.Since(began).Seconds(), time.Since(began).Round(time.Second))
}

// measureSyncs times the sync of one page as the ledger does it: in place, in a file
// of fixed size, in the ledger's folder.
func measureSyncs(t *testing.T, folder string) (all []time.Duration) {
	t.Helper()
	const page, pages = 4096, 64
	f, err := os.OpenFile(filepath.Join(folder, "sync-test"), os.O_CREATE|os.O_RDWR, 0o600)
	require.NoError(t, err)
	defer f.Close()
	defer os.Remove(f.Name())
	_, err = f.Write(make([]byte, page*pages))
	require.NoError(t, err)
	require.NoError(t, f.Sync())
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for i := range 200 {
		<-tick.C
		data := bytes.Repeat([]byte{byte(i)}, page)
		began := time.Now()
		_, err := f.WriteAt(data, int64(i%pages)*page)
		require.NoError(t, err)
		require.NoError(t, unix.Fdatasync(int(f.Fd())))
		all = append(all, time.Since(began))
	}
	return all
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
