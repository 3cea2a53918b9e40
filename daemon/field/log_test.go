package field

import (
	"bytes"
	"log/slog"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/broker"
)

// lines is a log that two goroutines write.
type lines struct {
	mu  sync.Mutex
	all bytes.Buffer
}

func (l *lines) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.all.Write(b)
}

func (l *lines) count(part string) (n int) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, line := range strings.Split(l.all.String(), "\n") {
		if strings.Contains(line, `"mqtt: connected"`) && strings.Contains(line, part) {
			n++
		}
	}
	return n
}

// A session is told once, however often topics are added to it; the next one again.
func TestConnectedIsLoggedOnceASession(t *testing.T) {
	b := embedded(t, broker.Options{})
	log := &lines{}
	cfg := config(b.URL())
	cfg.Logger = slog.New(slog.NewTextHandler(log, nil))
	l := dial(t, cfg)
	waitUp(t, l)
	tool := newHand(t, b.URL(), "tool")
	for _, topic := range []string{"one", "two", "three"} {
		heard := make(chan struct{}, 100)
		l.Subscribe("set/"+topic, func(Message) { heard <- struct{}{} })
		require.Eventually(t, func() bool {
			tool.say("set/"+topic, false, "true")
			return len(heard) > 0
		}, soon, often)
	}
	// A machine under load may lose a session meanwhile: it is told once for each.
	n := int(l.readings.number())
	require.Equal(t, n, log.count("role=readings"))
	require.Equal(t, int(l.commands.number()), log.count("role=commands"))

	s, _ := l.readings.state()
	s.cut()
	require.Eventually(t, func() bool { return log.count("role=readings") == n+1 }, soon, often)
}
