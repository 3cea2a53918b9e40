package simfield

import (
	"context"
	"fmt"
	"sync"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// watcher is a connection that sees the controller's next live `offline`.
type watcher struct {
	client mqtt.Client
	seen   chan struct{}
}

func (l *link) watch(ctx context.Context) (*watcher, error) {
	o := l.field.options
	w := &watcher{seen: make(chan struct{})}
	var once sync.Once
	w.client = mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + l.field.address).
		SetClientID(o.ClientID + "-" + l.id + "-watch").SetUsername(o.Username).SetPassword(o.Password).
		SetProtocolVersion(4).SetCleanSession(true).SetStore(noStore{}).SetAutoReconnect(false).
		SetConnectTimeout(5 * time.Second).SetWriteTimeout(5 * time.Second))
	if err := finish(ctx, w.client.Connect(), o.Patience); err != nil {
		return nil, fmt.Errorf("watch controller %s: %w", l.id, err)
	}
	token := w.client.Subscribe(l.root+"status", 1, func(_ mqtt.Client, m mqtt.Message) {
		if !m.Retained() && string(m.Payload()) == "offline" {
			once.Do(func() { close(w.seen) })
		}
	})
	if err := finish(ctx, token, o.Patience); err != nil {
		w.client.Disconnect(0)
		return nil, fmt.Errorf("watch controller %s: %w", l.id, err)
	}
	return w, nil
}

// finish waits for a token.
func finish(ctx context.Context, t mqtt.Token, within time.Duration) error {
	timer := time.NewTimer(within)
	defer timer.Stop()
	select {
	case <-t.Done():
		return t.Error()
	case <-ctx.Done():
		return ctx.Err()
	case <-timer.C:
		return fmt.Errorf("no answer from the broker in %s", within)
	}
}
