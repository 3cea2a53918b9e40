package field

import (
	"context"
	"sync"
	"sync/atomic"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"rillgate/zones"
)

// Link is the way to the room controllers and, on the connection that readings
// come by, to other tools. Its methods may be called from any goroutine, but Drain
// from one alone; none but Close ever waits.
type Link struct {
	cfg     Config
	inbox   *inbox
	refused refusals

	commands, readings *keeper
	orders             *queue[order]
	states             *queue[message]
	echo               echo
	marks              marks
	opened             chan struct{}
	clear              chan string // topics of retained commands

	mu    sync.Mutex
	up    bool
	why   string // why it is not up
	other []subscription

	stop     context.CancelFunc
	keepers  sync.WaitGroup
	losses   atomic.Uint64
	connects atomic.Uint64
}

// Dial checks the configuration and begins to connect in the background. It does
// not wait for the broker: Up tells, and BrokerLink events come through Drain.
func Dial(cfg Config) (*Link, error) {
	at, err := cfg.check()
	if err != nil {
		return nil, err
	}
	if cfg.times == (timings{}) {
		cfg.times = defaultTimings()
	}
	l := &Link{
		cfg: cfg, inbox: newInbox(cfg.Mono), opened: make(chan struct{}, 1), clear: make(chan string, 64),
		orders: newQueue[order](maxWaitingOrders, 0),
		states: newQueue[message](maxWaitingStates, maxWaitingStateBytes),
		why:    "not connected yet",
	}
	ctx, stop := context.WithCancel(context.Background())
	l.stop = stop
	l.commands = l.commandKeeper(at)
	l.readings = l.readingKeeper(at)
	l.keepers.Go(func() { l.commands.run(ctx) })
	l.keepers.Go(func() { l.readings.run(ctx) })
	return l, nil
}

func (l *Link) commandKeeper(at endpoint) *keeper {
	root := fieldRoot(l.cfg.Room)
	return &keeper{
		cfg: &l.cfg, at: at, role: "commands", strict: true, handler: func() func(mqtt.Message) { return l.onSignal },
		filters: func() map[string]byte {
			return map[string]byte{root + "+/status": 1, root + "+/report": 1, root + "+/input/+": 1, EchoTopic(l.cfg.Room): 0}
		},
		work: []func(context.Context, *session){l.sendOrders, l.confirm},
		down: func(reason string) {
			l.losses.Add(1)
			l.setUp(nil, false, reason)
			l.orders.forget()
		},
	}
}

func (l *Link) readingKeeper(at endpoint) *keeper {
	return &keeper{
		cfg: &l.cfg, at: at, role: "readings", will: l.cfg.Will, handler: l.readingHandler,
		filters:  l.readingFilters,
		optional: commandFilter(l.cfg.Room),
		work:     []func(context.Context, *session){l.sendStates},
		down: func(string) {
			l.losses.Add(1)
			l.states.forget()
		},
		resubscribe: make(chan struct{}, 1),
	}
}

// Wake signals that Drain has something.
func (l *Link) Wake() <-chan struct{} { return l.inbox.wake }

// Drain appends what arrived since the last Drain, in order of arrival: *Reading,
// *Report, *Status, *InputState and *BrokerLink events, none earlier than what an
// earlier Drain gave. It never waits.
func (l *Link) Drain(into []Arrival) []Arrival { return l.inbox.drain(into) }

// Up reports whether commands can reach controllers: the command connection is
// open and the broker has brought our own word back. If not, it says why.
func (l *Link) Up() (bool, string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.up, l.why
}

// ReadingsUp reports whether readings can come, and what is wrong if not: also a topic
// that the broker denies while the connection stands.
func (l *Link) ReadingsUp() (bool, string) {
	s, reason := l.readings.state()
	return s != nil && reason == "", reason
}

// Session gives the number of the open connection for state, 0 when there is none.
// With each new number all that is retained must be published again, for the broker
// may have forgotten it; a look now and then misses no reconnection.
func (l *Link) Session() uint64 { return l.readings.number() }

// Opened signals a new Session, for those who would rather wait than look.
func (l *Link) Opened() <-chan struct{} { return l.opened }

// Refusals gives what was refused since the start, by cause.
func (l *Link) Refusals() []Refusal { return l.refused.list() }

// setUp tells the loop of a change and remembers why. A word about a session that
// is no longer the open one (nil = none is) comes too late and says nothing.
func (l *Link) setUp(s *session, up bool, why string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if open, _ := l.commands.state(); open != s {
		return
	}
	changed := l.up != up
	l.up, l.why = up, why
	if changed {
		l.inbox.putLink(up)
	}
}

// Close sends what is queued, waits for the broker's word on it, says goodbye
// (no will is published) and stops; ctx bounds the waiting.
func (l *Link) Close(ctx context.Context) {
	l.flush(ctx, l.commands, l.orders.idle)
	l.flush(ctx, l.readings, l.states.idle)
	l.stop()
	ended := make(chan struct{})
	go func() {
		l.keepers.Wait()
		close(ended)
	}()
	select {
	case <-ended:
	case <-ctx.Done():
	}
}

// flush waits until a queue is empty and acknowledged, or its connection is gone.
func (l *Link) flush(ctx context.Context, k *keeper, idle func() <-chan struct{}) {
	s, _ := k.state()
	if s == nil {
		return
	}
	select {
	case <-idle():
		s.settle(ctx)
	case <-ctx.Done():
	}
}

// Stats are counts since the start.
type Stats struct {
	Readings        uint64 `json:"readings"`         // taken in
	ReadingsShed    uint64 `json:"readings_shed"`    // of those, dropped for newer ones before the loop took them
	SignalsShed     uint64 `json:"signals_shed"`     // reports, status and inputs dropped likewise
	CommandsSent    uint64 `json:"commands_sent"`    // handed to the connection
	CommandsDropped uint64 `json:"commands_dropped"` // late, or with no link, or too many
	StatesSent      uint64 `json:"states_sent"`
	StatesDropped   uint64 `json:"states_dropped"`
	Connects        uint64 `json:"connects"` // of both connections
	Losses          uint64 `json:"losses"`   // failed attempts too
}

// Stats gives the counts.
func (l *Link) Stats() Stats {
	return Stats{
		Readings: l.inbox.taken.Load(), ReadingsShed: l.inbox.shedReadings.Load(), SignalsShed: l.inbox.shedSignals.Load(),
		CommandsSent: l.orders.sent.Load(), CommandsDropped: l.orders.dropped.Load(),
		StatesSent: l.states.sent.Load(), StatesDropped: l.states.dropped.Load(),
		Connects: l.connects.Load(), Losses: l.losses.Load(),
	}
}

// onSignal takes reports, status, inputs and the echo. It never waits.
func (l *Link) onSignal(m mqtt.Message) {
	if m.Topic() == EchoTopic(l.cfg.Room) {
		l.echo.hear(m.Payload(), m.Retained())
		l.marks.hear(string(m.Payload()))
		return
	}
	t := ParseTopic(l.cfg.Room, m.Topic())
	ev, f := decodeSignal(t, m)
	if f != nil {
		l.refused.count(m.Topic(), f)
		return
	}
	l.inbox.putSignal(signalKey{t.Kind, t.Controller, t.Input}, ev)
}

func decodeSignal(t Topic, m mqtt.Message) (zones.Event, *Fault) {
	if len(m.Payload()) > MaxPayload {
		return nil, fault(causeTooLong, "more than %d bytes", MaxPayload)
	}
	switch t.Kind {
	case ReportTopic:
		r, f := DecodeReport(t.Controller, m.Payload())
		if f != nil {
			return nil, f
		}
		r.Retained = m.Retained()
		return r, nil
	case StatusTopic:
		s, f := DecodeStatus(t.Controller, m.Payload())
		if f != nil {
			return nil, f
		}
		s.Retained = m.Retained()
		return s, nil
	case InputTopic:
		in, f := DecodeInput(t.Controller, t.Input, m.Payload())
		if f != nil {
			return nil, f
		}
		in.Retained = m.Retained()
		return in, nil
	}
	return nil, fault(causeTopic, "not a field topic: ids are 1 to 32 of a-z, 0-9 and -")
}
