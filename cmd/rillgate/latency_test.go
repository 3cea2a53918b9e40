package main

import (
	"flag"
	"fmt"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
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
	over               bool
}

// stop ends the counting.
func (s *side) stop() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.over = true
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
	case s.over:
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
	syncs := startSyncs(t, r.state)
	for range *benchRounds {
		sideTurn(t, out, bare, *benchPhase, true)
		sideTurn(t, out, gateway, *benchPhase, true)
	}
	times := syncs.end(t)
	gateway.stop() // at its end it closes each output again
	code, _ := r.stop(syscall.SIGTERM)
	require.Zero(t, code, r.said.String())
	judge(t, bare, gateway, times)
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
