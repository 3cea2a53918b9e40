package daemon

import (
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/publish"
	"rillgate/zones"
)

// tap is a publisher's wire that keeps what is published, and hands sets in.
type tap struct {
	mu   sync.Mutex
	said []string
	hand func(topic string, payload []byte, retained bool)
}

func (w *tap) Up() bool { return true }
func (w *tap) Publish(topic string, _ byte, _ bool, p []byte) bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.said = append(w.said, topic+" "+string(p))
	return true
}
func (w *tap) Subscribe(_ string, _ byte, h func(string, []byte, bool)) { w.hand = h }

// answered reports whether an answer was published.
func (w *tap) answered() bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, s := range w.said {
		if strings.Contains(s, "/gateway/answer ") {
			return true
		}
	}
	return false
}

// Nobody is told over MQTT of a hold that a power cut would undo; what is refused is told
// at once.
func TestAnAnswerOverMQTTWaitsForTheDisk(t *testing.T) {
	d, _ := onBroker(t)
	v := d.view()
	for _, accepted := range []bool{true, false} {

		disk, wire := &stuckDisk{make(chan struct{}), make(chan struct{})}, &tap{}
		var order zones.Order
		p := publish.New(publish.Config{Homie: true, Root: "homie", Room: "demo", Orders: []string{"hold"}, Clock: d.clock.Now,
			Submit: func(o zones.Order) bool { order = o; return true }}, wire)
		p.Connected()
		p.Update(&publish.Snapshot{View: v})
		require.NotNil(t, wire.hand)
		wire.hand("homie/5/demo/zone-bench-a/hold/set", []byte("true"), false)
		require.NotEmpty(t, order.ID)
		desk := &Daemon{publisher: p, ended: make(chan struct{})}
		desk.recorder = newRecorder(disk)
		desk.recorder.put(&zones.Record{Seq: 1})
		<-disk.begun
		desk.tellOnceWritten(&zones.Answer{Order: order.ID, Accepted: accepted})
		time.Sleep(20 * time.Millisecond)
		require.Equal(t, !accepted, wire.answered())
		disk.free <- struct{}{}
		require.Eventually(t, wire.answered, 5*time.Second, time.Millisecond)
		desk.recorder.close()
		<-desk.recorder.done
	}
}
