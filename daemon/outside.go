package daemon

import (
	"context"
	"time"

	"rillgate/daemon/field"
	"rillgate/daemon/publish"
	"rillgate/zones"
)

// noField stands in for the link while no gateway.yaml says where the broker is.
type noField struct{}

func (noField) Send(*zones.Command) bool                   { return false }
func (noField) Wake() <-chan struct{}                      { return nil }
func (noField) Drain(into []field.Arrival) []field.Arrival { return into }
func (noField) Close(context.Context)                      {}

// wireOf lets the publisher use the link's connection for readings. The link keeps
// subscriptions itself over reconnects, so each filter is asked for once.
type wireOf struct {
	link *field.Link
	has  map[string]bool
}

func newWireOf(l *field.Link) *wireOf { return &wireOf{link: l, has: map[string]bool{}} }

func (w *wireOf) Publish(topic string, qos byte, retained bool, payload []byte) bool {
	return w.link.Publish(topic, qos, retained, payload)
}

// Subscribe is called by one goroutine at a time (the publisher's lock).
func (w *wireOf) Subscribe(filter string, _ byte, h func(topic string, payload []byte, retained bool)) {
	if w.has[filter] {
		return
	}
	w.has[filter] = true
	w.link.Subscribe(filter, func(m field.Message) { h(m.Topic, m.Payload, m.Retained) })
}

// Up is true also while the broker denies one of our topics: the others may flow.
func (w *wireOf) Up() bool { return w.link.Session() != 0 }

var _ publish.Wire = (*wireOf)(nil)

// closeWithin bounds how long a link may take to say its last words.
const closeWithin = 2 * time.Second
