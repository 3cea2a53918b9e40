// Package broker is an MQTT 3.1.1 broker inside the process, for the demo and for
// tests. It listens on loopback alone, keeps nothing on disk and lets MQTT 5
// clients go at once (a malformed MQTT 5 packet can end the process that embeds
// this broker). A room is run on a broker in a process of its own.
package broker

import (
	"errors"
	"fmt"
	"log/slog"
	"net"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
)

// maxPacketBytes bounds one packet; a client that sends more is disconnected.
const maxPacketBytes = 1 << 20

// Options say what the broker refuses. The zero value allows everything.
type Options struct {
	// Deny tells whether a client may not write to, or read from, a topic (for a
	// subscription: a filter). It is called from many goroutines. nil denies nothing.
	Deny func(clientID, topic string, write bool) bool
	// Users maps names to passwords; when not empty, all others are refused.
	Users map[string]string
}

// Broker is a running broker.
type Broker struct {
	server  *mqtt.Server
	address string
}

// Start listens on addr, "127.0.0.1:0" for a free port. An address that is not
// loopback is an error.
func Start(addr string, o Options) (*Broker, error) {
	if err := checkLoopback(addr); err != nil {
		return nil, err
	}
	ln, err := net.Listen("tcp", addr)
	if err != nil {
		return nil, fmt.Errorf("listen for MQTT on %s: %w", addr, err)
	}
	server := mqtt.New(serverOptions())
	if err := server.AddHook(newGate(o), nil); err != nil {
		return nil, errors.Join(fmt.Errorf("set the broker's access rules: %w", err), ln.Close())
	}
	if err := server.AddListener(listeners.NewNet("loopback", ln)); err != nil {
		return nil, errors.Join(fmt.Errorf("add the broker's listener: %w", err), ln.Close())
	}
	if err := server.Serve(); err != nil {
		return nil, errors.Join(fmt.Errorf("serve MQTT on %s: %w", addr, err), ln.Close())
	}
	return &Broker{server: server, address: ln.Addr().String()}, nil
}

// URL gives the address for clients, such as "mqtt://127.0.0.1:41883".
func (b *Broker) URL() string { return "mqtt://" + b.address }

// Clients tells how many clients it knows. One that has left counts until it is forgotten:
// who connects anew under its name before that may lose his subscriptions with it.
func (b *Broker) Clients() int { return b.server.Clients.Len() }

// Close disconnects every client and stops. It is called once.
func (b *Broker) Close() error { return b.server.Close() }

// serverOptions turn off what the library would do on its own: retained messages
// that vanish after a day, and a log on stdout.
func serverOptions() *mqtt.Options {
	caps := mqtt.NewDefaultServerCapabilities()
	caps.MaximumMessageExpiryInterval = 0
	caps.MaximumPacketSize = maxPacketBytes
	return &mqtt.Options{
		Capabilities: caps,
		Logger:       slog.New(slog.DiscardHandler),
	}
}

func checkLoopback(addr string) error {
	host, _, err := net.SplitHostPort(addr)
	if err != nil {
		return fmt.Errorf("read the broker's address %q: %w", addr, err)
	}
	ip := net.ParseIP(host)
	if host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return fmt.Errorf("listen for MQTT on %q: the embedded broker serves loopback alone, such as 127.0.0.1:1883", addr)
	}
	return nil
}
