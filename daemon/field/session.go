package field

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/url"
	"slices"
	"sync/atomic"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"
)

// session is one connection from its opening to its loss, with a client of its
// own: what was handed to a client that lost its connection can never be sent by
// the next one.
type session struct {
	client mqtt.Client
	raw    atomic.Pointer[wire]
	lost   chan error
	last   atomic.Pointer[mqtt.Token] // of the newest QoS 1 publish
}

// subackDenied is the return code of a refused filter (MQTT 3.1.1, section 3.9.3).
const subackDenied = 0x80

var (
	errNotOpen    = errors.New("publish: the connection is not open")
	errNoAnswer   = errors.New("the broker does not answer")
	errSessionEnd = errors.New("the connection was closed by us")
)

// noStore keeps nothing, so that nothing is sent again.
type noStore struct{}

func (noStore) Open()                             {}
func (noStore) Put(string, packets.ControlPacket) {}
func (noStore) Get(string) packets.ControlPacket  { return nil }
func (noStore) All() []string                     { return nil }
func (noStore) Del(string)                        {}
func (noStore) Close()                            {}
func (noStore) Reset()                            {}

// openSession connects once. handle is called for every message, in order, from
// one goroutine.
func openSession(ctx context.Context, c *Config, e endpoint, o *mqtt.ClientOptions, handle func(mqtt.Message)) (*session, error) {
	s := &session{lost: make(chan error, 1)}
	o.AddBroker("tcp://" + e.address()).SetProtocolVersion(4).SetCleanSession(true).SetStore(noStore{}).
		SetOrderMatters(true).SetAutoReconnect(false).SetConnectRetry(false).
		SetConnectTimeout(c.times.connect).SetWriteTimeout(c.times.write).
		SetKeepAlive(c.times.keepAlive).SetPingTimeout(c.times.ping).
		SetDefaultPublishHandler(func(_ mqtt.Client, m mqtt.Message) { handle(m) }).
		SetConnectionLostHandler(func(_ mqtt.Client, err error) { s.fail(err) })
	o.SetCustomOpenConnectionFn(func(*url.URL, mqtt.ClientOptions) (net.Conn, error) {
		conn, err := c.dial(ctx, e)
		if err != nil {
			return nil, err
		}
		s.raw.Store(conn)
		return conn, nil
	})
	s.client = mqtt.NewClient(o)
	if err := await(ctx, s.client.Connect(), c.times.connect+time.Second); err != nil {
		s.cut()
		return nil, explainConnect(err, o.Username)
	}
	return s, nil
}

// fail tells the session's keeper that the connection is gone.
func (s *session) fail(err error) {
	select {
	case s.lost <- err:
	default:
	}
}

// cut ends the connection without a word.
func (s *session) cut() {
	if conn := s.raw.Load(); conn != nil {
		_ = conn.Close() // closed already is as good
	}
	s.client.Disconnect(0)
}

// leave ends the connection with a DISCONNECT, so that no will is published.
func (s *session) leave(within time.Duration) {
	s.client.Disconnect(uint(within.Milliseconds()))
	if conn := s.raw.Load(); conn != nil {
		_ = conn.Close() // closed already is as good
	}
}

// publish hands one message over. It may wait as long as a write may take, so only
// sender goroutines call it. No error proves nothing but that it was handed over.
func (s *session) publish(topic string, qos byte, retained bool, payload []byte) error {
	if !s.client.IsConnectionOpen() {
		return errNotOpen
	}
	token := s.client.Publish(topic, qos, retained, payload)
	if qos > 0 {
		s.last.Store(&token)
	}
	select {
	case <-token.Done():
		return token.Error()
	default:
		return nil
	}
}

// settle waits until the newest QoS 1 publish is acknowledged, or ctx is done.
func (s *session) settle(ctx context.Context) {
	if token := s.last.Load(); token != nil {
		select {
		case <-(*token).Done():
		case <-ctx.Done():
		}
	}
}

// subscribe asks for all filters at once and gives those that the broker denies.
func (s *session) subscribe(ctx context.Context, filters map[string]byte, within time.Duration) (denied []string, err error) {
	if len(filters) == 0 {
		return nil, nil
	}
	token := s.client.SubscribeMultiple(filters, nil)
	if err := await(ctx, token, within); err != nil {
		return nil, fmt.Errorf("subscribe: %w", err)
	}
	for filter, code := range token.(*mqtt.SubscribeToken).Result() {
		if code == subackDenied {
			denied = append(denied, filter)
		}
	}
	slices.Sort(denied)
	return denied, nil
}

// await never waits for a token longer than told: some never complete.
func await(ctx context.Context, token mqtt.Token, within time.Duration) error {
	timer := time.NewTimer(within)
	defer timer.Stop()
	select {
	case <-token.Done():
		return token.Error()
	case <-timer.C:
		return errNoAnswer
	case <-ctx.Done():
		return ctx.Err()
	}
}

// explainConnect says what to do about a refusal.
func explainConnect(err error, username string) error {
	switch {
	case errors.Is(err, packets.ErrorRefusedBadUsernameOrPassword), errors.Is(err, packets.ErrorRefusedNotAuthorised):
		return fmt.Errorf("broker refuses user %q: check username and password_file, and the broker's own list", username)
	case errors.Is(err, packets.ErrorRefusedIDRejected):
		return errors.New("broker refuses our client id: allow ids of 23 characters and more")
	case errors.Is(err, packets.ErrorRefusedBadProtocolVersion):
		return errors.New("broker does not speak MQTT 3.1.1: allow that version")
	}
	return fmt.Errorf("connect to the broker: %w", err)
}
