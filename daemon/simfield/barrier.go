package simfield

import (
	"context"
	"fmt"
	"strconv"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"
)

// Barrier returns when the broker has handled all that the controllers sent before, and
// they have read all that was routed to them before: each controller on the air sends a
// mark on its own connection and awaits it there. Controllers off the air have nothing
// under way.
func (f *Field) Barrier(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, f.options.Patience)
	defer cancel()
	waits := make([]<-chan struct{}, len(f.links))
	for i, l := range f.links {
		wait, err := l.mark()
		if err != nil {
			return err
		}
		waits[i] = wait
	}
	for i, wait := range waits {
		if wait == nil {
			continue
		}
		select {
		case <-wait:
		case <-ctx.Done():
			return fmt.Errorf("await the mark of controller %s: %w", f.links[i].id, ctx.Err())
		}
	}
	return nil
}

// mark sends a mark and gives what is closed when it is back; nil off the air.
func (l *link) mark() (<-chan struct{}, error) {
	l.mu.Lock()
	if !l.wanted {
		l.mu.Unlock()
		return nil, nil
	}
	l.next++
	name := strconv.Itoa(l.next)
	wait := make(chan struct{})
	clear(l.marks) // of a barrier that was given up
	l.marks[name] = wait
	l.mu.Unlock()
	if !l.publish(message{topic: l.root + "echo", qos: 1, payload: []byte(name)}) {
		return nil, fmt.Errorf("send the mark of controller %s: its connection is down", l.id)
	}
	return wait, nil
}

func (l *link) marked(name string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if wait, ok := l.marks[name]; ok {
		delete(l.marks, name)
		close(wait)
	}
}

// noStore keeps nothing: what was not sent over a connection dies with it.
type noStore struct{}

var _ mqtt.Store = noStore{}

func (noStore) Open()                             {}
func (noStore) Put(string, packets.ControlPacket) {}
func (noStore) Get(string) packets.ControlPacket  { return nil }
func (noStore) All() []string                     { return nil }
func (noStore) Del(string)                        {}
func (noStore) Close()                            {}
func (noStore) Reset()                            {}
