package netrig

import (
	"bytes"
	"encoding/json"
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
	t                      *testing.T
	gateway, middle, field *space
	dir                    string
	broker, daemon         *exec.Cmd
	brokerSaid, daemonSaid said
	seen                   *moves
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
