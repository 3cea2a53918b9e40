package field

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"sync"
)

// MarkTopic is where a barrier's mark goes out and comes back on the connection for
// readings; on that for commands it goes over the echo's topic.
func MarkTopic(room string) string { return "rillgate/" + room + "/gateway/mark" }

// marks are barriers that wait for their marks.
type marks struct {
	mu   sync.Mutex
	last int
	wait map[string]chan struct{}
}

// expect gives a new mark and what closes when it is back.
func (m *marks) expect() (string, <-chan struct{}) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.wait == nil {
		m.wait = map[string]chan struct{}{}
	}
	m.last++
	name := strconv.Itoa(m.last)
	m.wait[name] = make(chan struct{})
	return name, m.wait[name]
}

func (m *marks) hear(name string) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if c, ok := m.wait[name]; ok {
		delete(m.wait, name)
		close(c)
	}
}

// Barrier returns when the broker has handled all that was sent before, commands and
// state, and all that was routed to us before is ready to be drained: a mark went
// out behind it on each connection and came back there. It is for a virtual clock
// that waits for its messages; a gateway in real time never calls it. WatchMarks
// must be called once before.
func (l *Link) Barrier(ctx context.Context) error {
	for _, handedOver := range []<-chan struct{}{l.orders.idle(), l.states.idle()} {
		select {
		case <-handedOver:
		case <-ctx.Done():
			return fmt.Errorf("hand over what is queued: %w", ctx.Err())
		}
	}
	byCommands, err := l.mark(l.commands, EchoTopic(l.cfg.Room))
	if err != nil {
		return err
	}
	byReadings, err := l.mark(l.readings, MarkTopic(l.cfg.Room))
	if err != nil {
		return err
	}
	for _, back := range []<-chan struct{}{byCommands, byReadings} {
		select {
		case <-back:
		case <-ctx.Done():
			return fmt.Errorf("await our own mark from the broker: %w", ctx.Err())
		}
	}
	return nil
}

// WatchMarks makes Barrier possible.
func (l *Link) WatchMarks() {
	l.Subscribe(MarkTopic(l.cfg.Room), func(m Message) { l.marks.hear(string(m.Payload)) })
}

func (l *Link) mark(k *keeper, topic string) (<-chan struct{}, error) {
	s, reason := k.state()
	if s == nil {
		return nil, errors.New("send our own mark: no connection: " + reason)
	}
	name, back := l.marks.expect()
	if err := s.publish(topic, 1, false, []byte(name)); err != nil {
		return nil, fmt.Errorf("send our own mark: %w", err)
	}
	return back, nil
}
