package field

import (
	"context"
	"slices"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// The bounds of state that waits to be published.
const (
	maxWaitingStates     = 8192
	maxWaitingStateBytes = 8 << 20
)

// message is a state on its way out, by the session that was open when it was given
// and by no other.
type message struct {
	session  *session
	topic    string
	payload  []byte
	qos      byte
	retained bool
}

func (m message) size() int { return len(m.topic) + len(m.payload) }

// Publish queues a message for other tools, on the connection that readings come
// by, so that state never delays a command. It reports false, and counts, when the
// connection is down or too much waits. The payload must not be changed later.
func (l *Link) Publish(topic string, qos byte, retained bool, payload []byte) bool {
	s, _ := l.readings.state()
	if s == nil {
		return l.states.refuse()
	}
	return l.states.put(message{s, topic, payload, qos, retained})
}

// Message is what comes on a topic of Subscribe.
type Message struct {
	Topic    string
	Payload  []byte
	Retained bool
}

type subscription struct {
	filter string
	handle func(Message)
}

// Subscribe takes other topics in, on the connection that readings come by, now
// and after every reconnection. handle runs in the callback: it must not wait.
// Payloads over MaxPayload are refused. Of overlapping filters the first counts.
func (l *Link) Subscribe(filter string, handle func(Message)) {
	l.mu.Lock()
	l.other = append(slices.Clip(l.other), subscription{filter, handle})
	l.mu.Unlock()
	select {
	case l.readings.resubscribe <- struct{}{}:
	default:
	}
}

func (l *Link) subscriptions() []subscription {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.other
}

func (l *Link) readingFilters() map[string]byte {
	filters := map[string]byte{fieldRoot(l.cfg.Room) + "+/readings": 0, commandFilter(l.cfg.Room): 0}
	for _, s := range l.subscriptions() {
		filters[s.filter] = 1
	}
	return filters
}

// readingHandler takes readings and the topics of Subscribe. It never waits.
func (l *Link) readingHandler() func(mqtt.Message) {
	var decoder packDecoder
	return func(m mqtt.Message) {
		if len(m.Payload()) > MaxPayload {
			l.refused.count(m.Topic(), fault(causeTooLong, "more than %d bytes", MaxPayload))
			return
		}
		t := ParseTopic(l.cfg.Room, m.Topic())
		switch t.Kind {
		case ReadingsTopic:
		case CommandTopic:
			l.onCommand(m)
			return
		default:
			l.onOther(m)
			return
		}
		readings, faults := decoder.decode(t.Controller, m.Payload())
		for _, f := range faults {
			l.refused.count(m.Topic(), f)
		}
		for i := range readings {
			readings[i].Retained = m.Retained()
		}
		if len(readings) > 0 {
			l.inbox.putReadings(readings)
		}
	}
}

// onCommand clears a retained command, which nobody should have published: it
// would come again whenever its controller connects. Live ones are mostly ours.
func (l *Link) onCommand(m mqtt.Message) {
	if !m.Retained() || len(m.Payload()) == 0 {
		return
	}
	l.refused.count(m.Topic(), fault(causeRetained, "a retained command comes again at each restart of the controller; it was cleared: find who published it"))
	select {
	case l.clear <- m.Topic():
	default: // the next connection finds it again
	}
}

func (l *Link) onOther(m mqtt.Message) {
	for _, s := range l.subscriptions() {
		if matches(s.filter, m.Topic()) {
			s.handle(Message{m.Topic(), m.Payload(), m.Retained()})
			return
		}
	}
	l.refused.count(m.Topic(), fault(causeTopic, "not a field topic: ids are 1 to 32 of a-z, 0-9 and -"))
}

// sendStates publishes state, in order.
func (l *Link) sendStates(ctx context.Context, s *session) {
	l.connects.Add(1)
	select {
	case l.opened <- struct{}{}:
	default:
	}
	for ctx.Err() == nil {
		select {
		case <-ctx.Done():
		case topic := <-l.clear:
			if err := s.publish(topic, 1, true, nil); err != nil {
				s.fail(err)
			}
		case m := <-l.states.items:
			l.states.took(m)
			l.states.done(l.sendState(ctx, s, m))
		}
	}
}

func (l *Link) sendState(ctx context.Context, s *session, m message) bool {
	if ctx.Err() != nil || m.session != s {
		return false
	}
	if err := s.publish(m.topic, m.qos, m.retained, m.payload); err != nil {
		s.fail(err)
		return false
	}
	return true
}
