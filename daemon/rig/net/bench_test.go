package netrig

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

const (
	brokerAtGateway    = "192.0.2.1" // TEST-NET-1 and -2 of RFC 5737: the test's own links
	gatewayAddress     = "192.0.2.2"
	brokerAtController = "198.51.100.1"
	controllerAddress  = "198.51.100.2"
)

// bench is the daemon, a broker and a controller, each a process in a namespace of
// its own: gateway -- broker -- controller.
type bench struct {
	t                              *testing.T
	gateway, middle, field         *space
	dir                            string
	broker, daemon, controllerProc *exec.Cmd
	brokerSaid, daemonSaid         said
	seen                           *moves
}

// said keeps what a process said, for a failure's text.
type said struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *said) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *said) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

// newLinks makes the namespaces and the links between them, with nobody there.
func newLinks(t *testing.T) *bench {
	t.Helper()
	b := &bench{t: t, gateway: newSpace(t), middle: newSpace(t), field: newSpace(t), dir: t.TempDir(), seen: newMoves()}
	b.middle.join(b.gateway, "gw", brokerAtGateway, gatewayAddress)
	b.middle.join(b.field, "ctl", brokerAtController, controllerAddress)
	b.middle.feed("add table inet cut\nadd chain inet cut in { type filter hook input priority 0; }\nadd chain inet cut out { type filter hook output priority 0; }\n", "nft", "-f", "-")
	return b
}

func newBench(t *testing.T, lease time.Duration) *bench {
	t.Helper()
	b := newLinks(t)
	b.write("mosquitto.conf", "user root\npersistence false\nset_tcp_nodelay true\nallow_anonymous true\nlistener 1883\n")
	writeRoom(t, b.dir, 1, "mqtt://"+brokerAtGateway, lease)
	b.startBroker()
	b.startController()
	b.daemon = exec.Command(program(t), "run", "--config", b.dir, "--state", filepath.Join(b.dir, "state"))
	b.daemon.Stdout, b.daemon.Stderr = &b.daemonSaid, &b.daemonSaid
	require.NoError(t, b.gateway.start(b.daemon), "start the daemon")
	endWith(t, b.daemon)
	return b
}

func (b *bench) write(name, text string) {
	b.t.Helper()
	require.NoError(b.t, os.WriteFile(filepath.Join(b.dir, name), []byte(text), 0o600))
}

// endWith kills the process at the end of the test.
func endWith(t *testing.T, cmd *exec.Cmd) {
	t.Cleanup(func() {
		_ = cmd.Process.Kill() // it may have ended
		_ = cmd.Wait()         // how is no matter
	})
}

func (b *bench) startBroker() {
	b.t.Helper()
	b.broker = exec.Command(tool(b.t, "mosquitto"), "-c", filepath.Join(b.dir, "mosquitto.conf"))
	b.broker.Stdout, b.broker.Stderr = &b.brokerSaid, &b.brokerSaid
	require.NoError(b.t, b.middle.start(b.broker), "start mosquitto")
	endWith(b.t, b.broker)
}

func (b *bench) killBroker() {
	_ = b.broker.Process.Kill() // it may have ended
	_ = b.broker.Wait()         // killed
}

func (b *bench) startController() {
	b.t.Helper()
	c := exec.Command(os.Args[0])
	c.Env = append(os.Environ(), asController+"="+brokerAtController+":1883")
	stdin, err := c.StdinPipe()
	require.NoError(b.t, err)
	out, err := c.StdoutPipe()
	require.NoError(b.t, err)
	require.NoError(b.t, b.field.start(c), "start the controller")
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		for in := json.NewDecoder(out); ; {
			var m move
			if in.Decode(&m) != nil {
				return
			}
			b.seen.add(m)
		}
	}()
	b.t.Cleanup(func() {
		_ = stdin.Close() // it ends by itself
		<-ended
		require.NoError(b.t, c.Wait())
	})
}

// moves is all that happened at outputs so far.
type moves struct {
	mu   sync.Mutex
	all  []move
	news chan struct{} // closed and replaced at each move
}

func newMoves() *moves { return &moves{news: make(chan struct{})} }

func (s *moves) add(m move) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.all = append(s.all, m)
	close(s.news)
	s.news = make(chan struct{})
}

func (s *moves) copy() []move {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]move(nil), s.all...)
}

// await gives the first move after an instant that is one of the kinds, at an output
// (0: any), or false when none came within the time.
func (s *moves) await(after time.Duration, within time.Duration, n int, kinds string) (move, bool) {
	timer := time.NewTimer(within)
	defer timer.Stop()
	for {
		s.mu.Lock()
		news := s.news
		for _, m := range s.all {
			if m.At > after && (n == 0 || m.Output == n) && strings.Contains(kinds, m.Kind) {
				s.mu.Unlock()
				return m, true
			}
		}
		s.mu.Unlock()
		select {
		case <-news:
		case <-timer.C:
			return move{}, false
		}
	}
}

// shot is how long a run of the rigs' rooms lasts; rest is what follows it.
const (
	shot = 50 * time.Second
	rest = 10 * time.Second
)

// writeRoom writes the files of a room of n zones, one valve and two probes each, that
// waters under 45 % at any time of day.
func writeRoom(t *testing.T, dir string, n int, broker string, lease time.Duration) {
	t.Helper()
	var room, schedule strings.Builder
	room.WriteString("room: {id: bay-2, name: Bay 2, time_zone: UTC, units: metric}\ncontrollers:\n  - id: north\n    inputs:\n      - {id: tank-low, means: supply-low, contact: normally-open}\n    terminals:\n")
	for i := range 2 * n {
		if i%10 == 0 {
			fmt.Fprintf(&room, "      - number: %d\n        layout: chain\n        home_run: 18 m\n        cable: 22 AWG\n        probes:\n", 1+i/10)
		}
		fmt.Fprintf(&room, "          - {id: p%d, address: \"%d\", zone: z%d, lead: 1 m, tail: 5 m}\n", i, i%10, i/2)
	}
	fmt.Fprintf(&room, "supplies:\n  - {id: feed, max_open: %d}\nvalves:\n", n)
	for i := range n {
		fmt.Fprintf(&room, "  - {id: v%d, controller: north, output: %d, supply: feed}\n", i, 1+i)
	}
	fmt.Fprintf(&room, `defaults:
  substrate: {kind: coir, volume_per_plant: 6.5 L, height: 20 cm}
  emitters: {per_plant: 2, flow: 2 L/h}
  moisture: {combine: median, quorum: 1, stale_after: 10 min, plausible: 2 %% to 95 %%}
  limits: {max_run: 2 min, min_rest: %d s, max_per_day: 12 h, max_moisture: 49 %%}
zones:
`, int(rest.Seconds()))
	fmt.Fprintf(&schedule, `day: {lights_on: "06:00", lights_off: "18:00"}
routines:
  all: [{window: first, from: "00:00", until: "12:00", below: 45 %%, shot: %[1]d s, rest: %[2]d s},
        {window: second, from: "12:00", until: "00:00", below: 45 %%, shot: %[1]d s, rest: %[2]d s}]
zones:
`, int(shot.Seconds()), int(rest.Seconds()))
	for i := range n {
		fmt.Fprintf(&room, "  - {id: z%d, name: Bench %d, plants: 48, valves: [v%d]}\n", i, i, i)
		fmt.Fprintf(&schedule, "  z%d: {routine: all}\n", i)
	}
	for name, text := range map[string]string{"room.yaml": room.String(), "schedule.yaml": schedule.String(),
		"gateway.yaml": fmt.Sprintf("mqtt: {broker: \"%s\"}\nlease: %d s\n", broker, int(lease.Seconds()))} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o640))
	}
}
