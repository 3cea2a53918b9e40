package field

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"sync"
	"time"

	"rillgate/zones"
)

// maxWaitingOrders bounds the commands that wait to be sent.
const maxWaitingOrders = 256

// order is a command on its way out, by the session that was open when it was given
// and by no other.
type order struct {
	session *session
	topic   string
	payload []byte
	open    bool
	at      time.Time
}

func (o order) size() int { return len(o.payload) }

// Send queues a command, QoS 1 and never retained. It reports false, and counts,
// when the command cannot go now: nothing is kept for later, the core repeats. An
// opening goes only while Up; a close goes as soon as the connection is open.
func (l *Link) Send(c *zones.Command) bool {
	s, _ := l.commands.state()
	if up, _ := l.Up(); s == nil || c.Open && !up {
		return l.orders.refuse()
	}
	return l.orders.put(order{
		session: s,
		topic:   CommandTopicOf(l.cfg.Room, c.Output), payload: EncodeCommand(c), open: c.Open, at: time.Now(),
	})
}

// sendOrders sends commands, in order.
func (l *Link) sendOrders(ctx context.Context, s *session) {
	l.connects.Add(1)
	for ctx.Err() == nil {
		select {
		case <-ctx.Done():
		case o := <-l.orders.items:
			l.orders.took(o)
			l.orders.done(l.sendOrder(ctx, s, o))
		}
	}
}

// sendOrder drops an opening that waited too long: it was decided on other facts.
func (l *Link) sendOrder(ctx context.Context, s *session, o order) bool {
	if ctx.Err() != nil || o.session != s || o.open && time.Since(o.at) > l.cfg.times.commandLife {
		return false
	}
	if err := s.publish(o.topic, 1, false, o.payload); err != nil {
		s.fail(err)
		return false
	}
	return true
}

// confirm finds out whether the broker lets our word through: it publishes the echo
// until it comes back.
func (l *Link) confirm(ctx context.Context, s *session) {
	word, heard := l.echo.expect()
	topic := EchoTopic(l.cfg.Room)
	l.setUp(s, false, "waiting for the broker to bring our echo back")
	for {
		// QoS 0: some brokers cut a client off for a QoS 1 publish that they deny.
		if err := s.publish(topic, 0, false, word); err != nil {
			s.fail(err)
			return
		}
		again := time.NewTimer(l.cfg.times.answer)
		select {
		case <-heard:
			again.Stop()
			l.setUp(s, true, "")
			return
		case <-ctx.Done():
			again.Stop()
			return
		case <-again.C:
			l.setUp(s, false, "broker denies topic "+topic+": our own message did not come back; let our user write and read it")
		}
	}
}

// echo waits for one word of ours to come back.
type echo struct {
	mu    sync.Mutex
	word  string
	heard chan struct{}
}

// expect makes up a new word, which ends the waiting for an older one.
func (e *echo) expect() (word []byte, heard <-chan struct{}) {
	var random [8]byte
	_, _ = rand.Read(random[:]) // never fails (crypto/rand)
	e.mu.Lock()
	defer e.mu.Unlock()
	e.word, e.heard = `{"echo":"`+hex.EncodeToString(random[:])+`"}`, make(chan struct{})
	return []byte(e.word), e.heard
}

// hear takes a word in; a retained one, or another gateway's, says nothing.
func (e *echo) hear(payload []byte, retained bool) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if retained || e.word == "" || string(payload) != e.word {
		return
	}
	close(e.heard)
	e.word = ""
}
