package publish

import (
	"context"
	"io"
	"net"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"

	"rillgate/daemon/broker"
	"rillgate/daemon/broker/realbroker"
	"rillgate/daemon/field"
	"rillgate/daemon/publish/homiecheck"
	"rillgate/zones"
)

const (
	soon  = 15 * time.Second
	often = 10 * time.Millisecond
)

// linkWire is the publisher's wire over the gateway's own connection.
type linkWire struct {
	link *field.Link
	has  map[string]bool
}

func (w linkWire) Publish(topic string, qos byte, retained bool, payload []byte) bool {
	return w.link.Publish(topic, qos, retained, payload)
}

func (w linkWire) Subscribe(filter string, _ byte, h func(string, []byte, bool)) {
	if !w.has[filter] {
		w.has[filter] = true
		w.link.Subscribe(filter, func(m field.Message) { h(m.Topic, m.Payload, m.Retained) })
	}
}

func (w linkWire) Up() bool {
	up, _ := w.link.ReadingsUp()
	return up
}

// onBroker is a publisher on a real connection, driven as the daemon drives it.
type onBroker struct {
	*rig
	link *field.Link
	mu   sync.Mutex
	real []zones.Order
}

// seen collects what a subscriber gets.
type seen struct {
	mu  sync.Mutex
	all []homiecheck.Message
}

func (s *seen) add(m mqtt.Message) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.all = append(s.all, homiecheck.Message{Topic: m.Topic(), Payload: string(m.Payload()), Retained: m.Retained()})
}

// last gives the newest payload on a topic of the device.
func (s *seen) last(topic string) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	for i := len(s.all) - 1; i >= 0; i-- {
		if s.all[i].Topic == device+topic {
			return s.all[i].Payload
		}
	}
	return ""
}

func (s *seen) messages() []homiecheck.Message {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]homiecheck.Message(nil), s.all...)
}

func subscriber(t *testing.T, address string) (mqtt.Client, *seen) {
	s := &seen{}
	c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + address).SetClientID(strings.ReplaceAll(t.Name(), "/", "-") + time.Now().String()).SetAutoReconnect(false))
	wait(t, c.Connect())
	wait(t, c.Subscribe("#", 1, func(_ mqtt.Client, m mqtt.Message) { s.add(m) }))
	t.Cleanup(func() { c.Disconnect(0) })
	return c, s
}

func wait(t *testing.T, token mqtt.Token) {
	t.Helper()
	require.True(t, token.WaitTimeout(soon), "the broker does not answer")
	require.NoError(t, token.Error())
}

// start connects a publisher through the given address and keeps it updated.
func start(t *testing.T, address string) *onBroker {
	b := &onBroker{rig: newRig(t)}
	topic, payload := Will("homie", "bay-2")
	link, err := field.Dial(field.Config{URL: "mqtt://" + address, Room: "bay-2", Will: &field.Will{Topic: topic, Payload: payload, QoS: 1, Retained: true},
		Mono: func() time.Duration { return time.Duration(time.Now().UnixNano()) }})
	require.NoError(t, err)
	b.link = link
	c := b.config()
	began := time.Now()
	c.Clock = func() (time.Time, time.Duration) { return time.Now(), time.Since(began) }
	c.Submit = func(o zones.Order) bool {
		b.mu.Lock()
		defer b.mu.Unlock()
		b.real = append(b.real, o)
		return true
	}
	b.pub = New(c, linkWire{link, map[string]bool{}})
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go b.drive(ctx, done)
	t.Cleanup(func() {
		cancel()
		<-done
		closing, end := context.WithTimeout(context.Background(), 5*time.Second)
		defer end()
		link.Close(closing)
	})
	return b
}

func (b *onBroker) drive(ctx context.Context, done chan<- struct{}) {
	defer close(done)
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	s := &Snapshot{View: b.view}
	for {
		select {
		case <-b.link.Opened():
			b.pub.Connected()
		case <-tick.C:
		case <-ctx.Done():
			return
		}
		b.pub.Update(s)
	}
}

func (b *onBroker) orders() []zones.Order {
	b.mu.Lock()
	defer b.mu.Unlock()
	return append([]zones.Order(nil), b.real...)
}

func becomes(t *testing.T, s *seen, topic, payload string) {
	t.Helper()
	require.Eventually(t, func() bool { return s.last(topic) == payload }, soon, often, "%s did not become %q", topic, payload)
}

const endMark = "end-of-what-stands"

func marked(m homiecheck.Message) bool { return m.Topic == endMark }

// fresh subscribes anew and gives what stands, all with the retained flag.
func fresh(t *testing.T, address string) []homiecheck.Message {
	_, early := subscriber(t, address)
	becomes(t, early, "$state", "ready")
	becomes(t, early, "zone-west/window", "none")
	client, s := subscriber(t, address)
	// what is retained comes in any order, and all of it before what this client says after
	wait(t, client.Publish(endMark, 1, false, "end"))
	require.Eventually(t, func() bool { return slices.ContainsFunc(s.messages(), marked) }, soon, often)
	require.Equal(t, "ready", s.last("$state"))
	require.Equal(t, "none", s.last("zone-west/window"))
	var head, rest []homiecheck.Message
	for _, m := range s.messages() {
		switch {
		case marked(m):
		case m.Topic == device+"$description":
			head = append(head, m)
		default:
			rest = append(rest, m)
		}
	}
	return append(head, rest...)
}

// proxy stands between gateway and broker, so that a connection can break.
type proxy struct {
	ln    net.Listener
	mu    sync.Mutex
	conns []net.Conn
}

func newProxy(t *testing.T, to string) *proxy {
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	p := &proxy{ln: ln}
	go func() {
		for {
			in, err := ln.Accept()
			if err != nil {
				return
			}
			out, err := net.Dial("tcp", to)
			if err != nil {
				_ = in.Close()
				continue
			}
			p.mu.Lock()
			p.conns = append(p.conns, in, out)
			p.mu.Unlock()
			go func() { _, _ = io.Copy(out, in); _ = out.Close() }()
			go func() { _, _ = io.Copy(in, out); _ = in.Close() }()
		}
	}()
	t.Cleanup(func() { _ = ln.Close(); p.cut() })
	return p
}

// cut breaks every connection at once.
func (p *proxy) cut() {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, c := range p.conns {
		_ = c.Close()
	}
	p.conns = nil
}

// story is what a tool at the broker sees of one life of a gateway.
func story(t *testing.T, address string) {
	through := newProxy(t, address)
	client, s := subscriber(t, address)
	wait(t, client.Publish(device+"$description", 1, true, `{"homie":"5.0","version":1,"name":"x","nodes":{"zone-old":{"properties":{"moisture":{"datatype":"float","retained":true}}}}}`))
	wait(t, client.Publish(device+"zone-old/moisture", 1, true, "44.0"))
	wait(t, client.Publish(device+"$alert/leak-old", 1, true, "wet"))
	wait(t, client.Publish(device+"zone-east/shot/set", 1, true, "PT60S"))
	b := start(t, through.ln.Addr().String())

	becomes(t, s, "$state", "ready")
	becomes(t, s, "zone-old/moisture", "")
	becomes(t, s, "$alert/leak-old", "")
	require.Eventually(t, func() bool { return b.pub.Counts()["set-retained"] > 0 }, soon, often)
	wait(t, client.Publish(device+"zone-east/shot/set", 1, true, ""))
	require.Empty(t, homiecheck.Check("homie", "bay-2", fresh(t, address)))

	wait(t, client.Publish(device+"zone-east/hold/set", 1, false, "true"))
	require.Eventually(t, func() bool { return len(b.orders()) == 1 }, soon, often)
	require.Equal(t, zones.OrderHold, b.orders()[0].Kind)
	b.pub.Answer(&zones.Answer{Order: b.orders()[0].ID, Accepted: true, Reason: zones.NoReason, Because: "held for 1 h"})
	require.Eventually(t, func() bool { return strings.Contains(s.last("gateway/answer"), "held for 1 h") }, soon, often)

	n := len(s.messages())
	through.cut()
	becomes(t, s, "$state", "lost")
	becomes(t, s, "$state", "ready")
	again := s.messages()[n:]
	require.Greater(t, len(again), 60, "everything is told again")
	require.Len(t, b.orders(), 1, "a retained set message is never an order")
	b.pub.Stop()
	becomes(t, s, "$state", "disconnected")
}

func TestOnTheEmbeddedBroker(t *testing.T) {
	br, err := broker.Start("127.0.0.1:0", broker.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, br.Close()) })
	story(t, strings.TrimPrefix(br.URL(), "mqtt://"))
}

func TestOnMosquitto(t *testing.T) {
	br := realbroker.Start(t, realbroker.Options{})
	story(t, strings.TrimPrefix(br.URL(), "mqtt://"))
}

// TestABrokerThatForgets is killed and comes back with nothing in it.
func TestABrokerThatForgets(t *testing.T) {
	br := realbroker.Start(t, realbroker.Options{})
	address := strings.TrimPrefix(br.URL(), "mqtt://")
	start(t, address)
	require.Empty(t, homiecheck.Check("homie", "bay-2", fresh(t, address)))
	br.Kill()
	br.Restart()
	require.Empty(t, homiecheck.Check("homie", "bay-2", fresh(t, address)))
}
