package broker_test

import (
	"errors"
	"io"
	"net"
	"strings"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"

	"rillgate/daemon/broker"
)

const soon = 5 * time.Second

func start(t *testing.T, o broker.Options) *broker.Broker {
	t.Helper()
	b, err := broker.Start("127.0.0.1:0", o)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, b.Close()) })
	return b
}

func options(b *broker.Broker, id string) *mqtt.ClientOptions {
	return mqtt.NewClientOptions().AddBroker(strings.Replace(b.URL(), "mqtt://", "tcp://", 1)).
		SetClientID(id).SetProtocolVersion(4).SetAutoReconnect(false).SetConnectTimeout(soon)
}

func connect(t *testing.T, o *mqtt.ClientOptions) mqtt.Client {
	t.Helper()
	c := mqtt.NewClient(o)
	finish(t, c.Connect())
	t.Cleanup(func() { c.Disconnect(0) })
	return c
}

func finish(t *testing.T, token mqtt.Token) {
	t.Helper()
	require.True(t, token.WaitTimeout(soon), "the broker did not answer")
	require.NoError(t, token.Error())
}

func receive(t *testing.T, c mqtt.Client, filter string) <-chan mqtt.Message {
	t.Helper()
	got := make(chan mqtt.Message, 16)
	finish(t, c.Subscribe(filter, 1, func(_ mqtt.Client, m mqtt.Message) { got <- m }))
	return got
}

func next(t *testing.T, got <-chan mqtt.Message) mqtt.Message {
	t.Helper()
	select {
	case m := <-got:
		return m
	case <-time.After(soon):
		require.FailNow(t, "no message came")
		return nil
	}
}

func TestStartRefusesWhatIsNotLoopback(t *testing.T) {
	for _, addr := range []string{"0.0.0.0:0", ":0", "192.0.2.1:0", "[::]:0", "example.com:1883", "127.0.0.1"} {
		b, err := broker.Start(addr, broker.Options{})
		require.Error(t, err, addr)
		require.Nil(t, b, addr)
	}
}

func TestMessagesPassAndRetainedOnesStand(t *testing.T) {
	b := start(t, broker.Options{})
	c := connect(t, options(b, "writer"))
	live := receive(t, c, "a/#")
	finish(t, c.Publish("a/b", 1, true, "kept"))
	m := next(t, live)
	require.Equal(t, "kept", string(m.Payload()))
	require.False(t, m.Retained())

	late := receive(t, connect(t, options(b, "reader")), "a/#")
	m = next(t, late)
	require.Equal(t, "kept", string(m.Payload()))
	require.True(t, m.Retained())
}

func TestDenyStopsReadingAndWriting(t *testing.T) {
	b := start(t, broker.Options{Deny: func(id, topic string, write bool) bool {
		return id == "limited" && (write && topic == "no/write" || !write && topic == "no/read")
	}})
	limited := connect(t, options(b, "limited"))
	token := limited.Subscribe("no/read", 1, nil).(*mqtt.SubscribeToken)
	finish(t, token)
	require.Equal(t, byte(128), token.Result()["no/read"])

	all := receive(t, connect(t, options(b, "free")), "#")
	finish(t, limited.Publish("no/write", 0, false, "lost"))
	finish(t, limited.Publish("yes", 0, false, "seen"))
	require.Equal(t, "yes", next(t, all).Topic(), "a denied message came through")
}

func TestUsersAreAskedForTheirPassword(t *testing.T) {
	b := start(t, broker.Options{Users: map[string]string{"gateway": "right"}})
	connect(t, options(b, "one").SetUsername("gateway").SetPassword("right"))
	for _, o := range []*mqtt.ClientOptions{
		options(b, "two").SetUsername("gateway").SetPassword("wrong"),
		options(b, "three").SetUsername("other").SetPassword("right"),
		options(b, "four"),
	} {
		token := mqtt.NewClient(o).Connect()
		require.True(t, token.WaitTimeout(soon))
		require.Error(t, token.Error(), o.ClientID)
	}
}

// A CONNECT of MQTT 5 (protocol level 5, MQTT 5.0 section 3.1.2.2) followed by a
// truncated SUBSCRIBE, which ends a process whose broker lets it come that far.
func TestOtherVersionsAreCutOff(t *testing.T) {
	b := start(t, broker.Options{})
	connect5 := []byte{0x10, 14, 0, 4, 'M', 'Q', 'T', 'T', 5, 2, 0, 60, 0, 0, 1, 'x'}
	subscribe := []byte{0x82, 3, 0, 1, 0x0B}
	conn, err := net.Dial("tcp", strings.TrimPrefix(b.URL(), "mqtt://"))
	require.NoError(t, err)
	defer conn.Close()
	_, err = conn.Write(append(connect5, subscribe...))
	require.NoError(t, err)
	require.NoError(t, conn.SetReadDeadline(time.Now().Add(soon)))
	answer, err := io.ReadAll(conn)
	var timeout net.Error
	require.False(t, errors.As(err, &timeout) && timeout.Timeout(), "the connection stayed open")
	require.Empty(t, answer, "an MQTT 5 client was answered")

	connect(t, options(b, "after"))
}

// Both sides number their packets on their own (MQTT 3.1.1, section 2.3.1): message 1 to
// a client and its own packet 1 have nothing to do with each other.
func TestAPacketsNumberIsItsSendersOwn(t *testing.T) {
	b := start(t, broker.Options{})
	finish(t, connect(t, options(b, "writer")).Publish("kept", 1, true, "x"))
	conn, err := net.Dial("tcp", strings.TrimPrefix(b.URL(), "mqtt://"))
	require.NoError(t, err)
	defer conn.Close()
	require.NoError(t, conn.SetDeadline(time.Now().Add(soon)))
	send := func(p ...byte) {
		_, err := conn.Write(p)
		require.NoError(t, err)
	}
	hear := func(length int) []byte {
		p := make([]byte, length)
		_, err := io.ReadFull(conn, p)
		require.NoError(t, err)
		return p
	}
	send(0x10, 13, 0, 4, 'M', 'Q', 'T', 'T', 4, 2, 0, 60, 0, 1, 'x')
	require.Equal(t, []byte{0x20, 2, 0, 0}, hear(4))
	send(0x82, 9, 0, 9, 0, 4, 'k', 'e', 'p', 't', 1)
	require.Equal(t, []byte{0x90, 3, 0, 9, 1}, hear(5))
	require.Equal(t, []byte{0x33, 9, 0, 4, 'k', 'e', 'p', 't', 0, 1, 'x'}, hear(11), "message 1, which is not acknowledged")
	send(0x82, 6, 0, 1, 0, 1, 'o', 0)
	require.Equal(t, []byte{0x90, 3, 0, 1, 0}, hear(5), "our packet 1 is refused")
	send(0xA2, 5, 0, 1, 0, 1, 'o')
	require.Equal(t, []byte{0xB0, 2, 0, 1}, hear(4))
}
