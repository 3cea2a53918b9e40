package field

import (
	"context"
	"strings"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"

	"rillgate/daemon/broker"
	"rillgate/zones"
)

const (
	soon  = 10 * time.Second
	often = 2 * time.Millisecond
	root  = "rillgate/bay-2/field/north/"
)

// briefly are waits short enough for tests.
func briefly() timings {
	return timings{
		connect: 2 * time.Second, answer: 300 * time.Millisecond, write: time.Second,
		keepAlive: time.Second, ping: 500 * time.Millisecond,
		retryFirst: 20 * time.Millisecond, retryMost: 200 * time.Millisecond,
		shortLived: 2 * time.Second, commandLife: time.Second,
	}
}

func config(url string) Config {
	began := time.Now()
	return Config{
		URL: url, Room: "bay-2", Machine: "test", times: briefly(),
		Mono: func() time.Duration { return time.Since(began) },
	}
}

func dial(t *testing.T, cfg Config) *Link {
	t.Helper()
	l, err := Dial(cfg)
	require.NoError(t, err)
	t.Cleanup(func() { closeSoon(l) })
	return l
}

func closeSoon(l *Link) {
	ctx, cancel := context.WithTimeout(context.Background(), soon)
	defer cancel()
	l.Close(ctx)
}

func embedded(t *testing.T, o broker.Options) *broker.Broker {
	t.Helper()
	b, err := broker.Start("127.0.0.1:0", o)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, b.Close()) })
	return b
}

func waitUp(t *testing.T, l *Link) {
	t.Helper()
	require.Eventually(t, func() bool {
		up, _ := l.Up()
		readings, _ := l.ReadingsUp()
		return up && readings
	}, soon, often, "the link did not come up")
}

func waitDown(t *testing.T, l *Link) {
	t.Helper()
	require.Eventually(t, func() bool { up, _ := l.Up(); return !up }, soon, often, "the link did not go down")
}

// hand is a client beside the link: a controller, another tool, or a mischief-maker.
type hand struct {
	t      *testing.T
	client mqtt.Client
	got    chan mqtt.Message
}

func newHand(t *testing.T, url, id string, filters ...string) *hand {
	t.Helper()
	h := &hand{t: t, got: make(chan mqtt.Message, 1000)}
	o := mqtt.NewClientOptions().AddBroker(strings.Replace(url, "mqtt://", "tcp://", 1)).SetClientID(id).
		SetProtocolVersion(4).SetAutoReconnect(false).SetConnectTimeout(soon).SetCleanSession(true).
		SetDefaultPublishHandler(func(_ mqtt.Client, m mqtt.Message) { h.got <- m })
	h.client = mqtt.NewClient(o)
	h.finish(h.client.Connect())
	t.Cleanup(func() { h.client.Disconnect(0) })
	for _, f := range filters {
		h.finish(h.client.Subscribe(f, 1, nil))
	}
	return h
}

func (h *hand) finish(token mqtt.Token) {
	h.t.Helper()
	require.True(h.t, token.WaitTimeout(soon), "the broker did not answer")
	require.NoError(h.t, token.Error())
}

func (h *hand) say(topic string, retained bool, payload string) {
	h.t.Helper()
	h.finish(h.client.Publish(topic, 1, retained, payload))
}

func (h *hand) next() mqtt.Message {
	h.t.Helper()
	select {
	case m := <-h.got:
		return m
	case <-time.After(soon):
		require.FailNow(h.t, "no message came")
		return nil
	}
}

// events drains until n events of other kinds than BrokerLink have come.
func events(t *testing.T, l *Link, n int) []Arrival {
	t.Helper()
	var got, batch []Arrival
	deadline := time.After(soon)
	for len(got) < n {
		select {
		case <-l.Wake():
		case <-deadline:
			require.FailNow(t, "too few events", "%d of %d", len(got), n)
		}
		batch = l.Drain(batch[:0])
		for _, a := range batch {
			if _, link := a.Event.(*zones.BrokerLink); !link {
				got = append(got, a)
			}
		}
	}
	require.Len(t, got, n)
	return got
}

func opening(seq uint32) *zones.Command {
	return &zones.Command{
		Output: zones.Output{Controller: "north", Number: 1}, Epoch: 3, Seq: seq, Run: "r-1",
		Open: true, Boot: "9f31c2", UntilMS: 5000,
	}
}

func closing(seq uint32) *zones.Command {
	return &zones.Command{Output: zones.Output{Controller: "north", Number: 1}, Epoch: 3, Seq: seq, Run: "r-1"}
}
