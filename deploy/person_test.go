package deploy_test

import (
	"fmt"
	"net"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"
)

const (
	soon  = 10 * time.Second
	often = 5 * time.Millisecond
)

// word is one message as it arrived.
type word struct {
	topic, payload string
	retained       bool
}

// person is one client that is connected under a name, with all that it heard.
type person struct {
	t      *testing.T
	client mqtt.Client
	lost   chan struct{}
	mu     sync.Mutex
	conn   net.Conn
	heard  []word
}

// options are those of a client of a name; every name is its own password.
func options(broker, name, id string) *mqtt.ClientOptions {
	return mqtt.NewClientOptions().AddBroker(strings.Replace(broker, "mqtt://", "tcp://", 1)).
		SetClientID(id).SetUsername(name).SetPassword(name).
		SetProtocolVersion(4).SetCleanSession(true).SetAutoReconnect(false).SetConnectTimeout(soon)
}

// meet connects, or gives the broker's refusal.
func meet(t *testing.T, o *mqtt.ClientOptions) (*person, error) {
	t.Helper()
	p := &person{t: t, lost: make(chan struct{})}
	o.SetConnectionLostHandler(func(mqtt.Client, error) { close(p.lost) })
	o.SetDefaultPublishHandler(func(_ mqtt.Client, m mqtt.Message) {
		p.mu.Lock()
		defer p.mu.Unlock()
		p.heard = append(p.heard, word{m.Topic(), string(m.Payload()), m.Retained()})
	})
	o.SetCustomOpenConnectionFn(func(u *url.URL, o mqtt.ClientOptions) (net.Conn, error) {
		conn, err := net.DialTimeout("tcp", u.Host, o.ConnectTimeout)
		p.conn = conn
		return conn, err
	})
	p.client = mqtt.NewClient(o)
	token := p.client.Connect()
	require.True(t, token.WaitTimeout(soon), "the broker does not answer")
	if token.Error() != nil {
		return nil, token.Error()
	}
	t.Cleanup(func() { p.client.Disconnect(0) })
	return p, nil
}

func known(t *testing.T, broker, name, id string) *person {
	t.Helper()
	p, err := meet(t, options(broker, name, id))
	require.NoError(t, err, "connect as %s", name)
	return p
}

// ask subscribes, QoS 0 so that nothing waits in the broker's queue. What it may not
// hear it is granted too: mosquitto only withholds the messages.
func (p *person) ask(filters ...string) {
	p.t.Helper()
	all := map[string]byte{}
	for _, f := range filters {
		all[f] = 0
	}
	token := p.client.SubscribeMultiple(all, nil)
	require.True(p.t, token.WaitTimeout(soon) && token.Error() == nil, "subscribe")
}

// say publishes at QoS 1 and awaits the broker's word, which proves nothing but that
// it has handled the message.
func (p *person) say(topic string, retained bool, payload string) {
	p.t.Helper()
	token := p.client.Publish(topic, 1, retained, payload)
	require.True(p.t, token.WaitTimeout(soon) && token.Error() == nil, "publish on %s", topic)
}

// mark is a topic that one name may write and read, beside the rules under test.
func mark(name string) string { return "marks/" + name }

// settled gives what was heard until now, on the topics other than marks: a mark of
// one's own comes after all that the broker had for this client. Others of the same
// name have marks on the same topic.
func (p *person) settled(name string) []word {
	p.t.Helper()
	p.ask(mark(name))
	own := fmt.Sprintf("%p %d", p, time.Now().UnixNano())
	p.say(mark(name), false, own)
	var out []word
	require.Eventually(p.t, func() bool {
		p.mu.Lock()
		defer p.mu.Unlock()
		n := len(p.heard)
		if n == 0 || p.heard[n-1].payload != own {
			return false
		}
		out = slices.DeleteFunc(p.heard, func(w word) bool { return w.topic == mark(name) })
		p.heard = nil
		return true
	}, soon, often, "own mark")
	return out
}
