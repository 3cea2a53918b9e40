package simfield

import (
	"context"
	"encoding/json"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"rillgate/daemon/broker"
	"rillgate/schedule"
	"rillgate/zones"
	"rillgate/zones/simroom"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"
)

// plan has two zones with four probes each, one controller or two, one supply.
func plan(controllers ...string) *zones.Plan {
	p := &zones.Plan{
		Room: "bay", Lease: 30 * time.Second,
		Calendar: schedule.Calendar{Location: time.UTC, Days: []schedule.Day{{On: 6 * time.Hour, Off: 18 * time.Hour}}},
		Supplies: []zones.Supply{{ID: "feed", MaxOpen: 1, Low: "tank-low"}},
	}
	for i, c := range controllers {
		p.Controllers = append(p.Controllers, zones.Controller{ID: c})
		if i == 0 {
			p.Controllers[0].Inputs = []zones.Input{{ID: "tank-low", Means: zones.SupplyLow}}
		}
	}
	for i, id := range []string{"east", "west"} {
		c := controllers[i%len(controllers)]
		p.Valves = append(p.Valves, zones.Valve{ID: id, Output: zones.Output{Controller: c, Number: i + 1}, Supply: "feed"})
		p.Zones = append(p.Zones, zones.Zone{
			ID: id, Valves: []string{id}, Plants: 48, VolumeML: 6500, EmittersEach: 2, EmitterLPH: 2, Substrate: "coir",
		})
		for k := 0; k < 4; k++ {
			p.Probes = append(p.Probes, zones.Probe{ID: id[:1] + strconv.Itoa(k), Zone: id,
				Place: zones.Place{Controller: c, Terminal: i + 1, Address: strconv.Itoa(k)}})
		}
	}
	return p
}

func newSim(t testing.TB, p *zones.Plan, o simroom.Options) *simroom.Room {
	t.Helper()
	r, err := simroom.New(p, o)
	require.NoError(t, err)
	return r
}

// embedded starts the embedded broker.
func embedded(t testing.TB) string {
	t.Helper()
	b, err := broker.Start("127.0.0.1:0", broker.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { _ = b.Close() })
	return b.URL()
}

// stepped starts a field to be stepped.
func stepped(t testing.TB, at string, p *zones.Plan, o simroom.Options) *Field {
	t.Helper()
	f, err := New(p, newSim(t, p, o), Options{Broker: at})
	require.NoError(t, err)
	t.Cleanup(f.Close)
	require.NoError(t, f.Start(t.Context()))
	return f
}

func step(t testing.TB, f *Field, now time.Duration) int {
	t.Helper()
	n, err := f.Step(t.Context(), now)
	require.NoError(t, err)
	require.NoError(t, f.Barrier(t.Context()))
	return n
}

// peer is another client on the broker: it sees the field and may command.
type peer struct {
	t      testing.TB
	client mqtt.Client
	mu     sync.Mutex
	got    []mqtt.Message
	marks  chan struct{}
}

func newPeer(t testing.TB, at string) *peer { return newPeerNamed(t, at, "peer") }

func newPeerNamed(t testing.TB, at, id string) *peer {
	t.Helper()
	u, err := url.Parse(at)
	require.NoError(t, err)
	p := &peer{t: t, marks: make(chan struct{}, 1)}
	p.client = mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + u.Host).SetClientID(id).
		SetProtocolVersion(4).SetStore(noStore{}).SetAutoReconnect(false).SetDefaultPublishHandler(func(_ mqtt.Client, m mqtt.Message) {
		if m.Topic() == "peer/mark" {
			p.marks <- struct{}{}
			return
		}
		if strings.HasSuffix(m.Topic(), "/echo") {
			return
		}
		p.mu.Lock()
		defer p.mu.Unlock()
		p.got = append(p.got, m)
	}))
	p.finish(p.client.Connect())
	t.Cleanup(func() { p.client.Disconnect(50) })
	p.finish(p.client.SubscribeMultiple(map[string]byte{"rillgate/bay/field/#": 1, "peer/mark": 1}, nil))
	p.barrier() // what is retained comes first
	return p
}

func (p *peer) finish(t mqtt.Token) {
	p.t.Helper()
	require.True(p.t, t.WaitTimeout(10*time.Second), "no answer from the broker")
	require.NoError(p.t, t.Error())
}

// send publishes, and returns when the broker has routed it: the embedded broker
// acknowledges before it does.
func (p *peer) send(topic, payload string, retained bool) {
	p.t.Helper()
	p.finish(p.client.Publish("rillgate/bay/field/"+topic, 1, retained, payload))
	p.barrier()
}

// barrier returns when the peer has read all that was routed to it.
func (p *peer) barrier() {
	p.t.Helper()
	p.client.Publish("peer/mark", 1, false, "x")
	select {
	case <-p.marks:
	case <-time.After(10 * time.Second):
		require.Fail(p.t, "the peer's mark did not come back")
	}
}

// take gives what came since the last time.
func (p *peer) take() []mqtt.Message {
	p.mu.Lock()
	defer p.mu.Unlock()
	got := p.got
	p.got = nil
	return got
}

// seen gives the payloads of one topic among messages.
func seen(all []mqtt.Message, topic string) (payloads []string) {
	for _, m := range all {
		if m.Topic() == "rillgate/bay/field/"+topic {
			payloads = append(payloads, string(m.Payload()))
		}
	}
	return payloads
}

type report struct {
	Boot       string
	UptimeMS   int64 `json:"uptime_ms"`
	Epoch, Seq uint32
	Outputs    map[string]struct {
		Open bool
		Run  string
	}
}

func readReport(t testing.TB, payload string) (r report) {
	t.Helper()
	require.NoError(t, json.Unmarshal([]byte(payload), &r))
	return r
}

// await takes messages until one on a topic does, and gives it; later ones stay.
func (p *peer) await(topic string, does func(string) bool) string {
	p.t.Helper()
	var found string
	require.Eventually(p.t, func() bool {
		p.mu.Lock()
		defer p.mu.Unlock()
		for len(p.got) > 0 {
			m := p.got[0]
			p.got = p.got[1:]
			if m.Topic() == "rillgate/bay/field/"+topic && does(string(m.Payload())) {
				found = string(m.Payload())
				return true
			}
		}
		return false
	}, 20*time.Second, time.Millisecond, topic)
	return found
}

// running runs a field in real time until the test ends.
func running(t testing.TB, at string, p *zones.Plan, o simroom.Options) (*Field, context.CancelFunc) {
	t.Helper()
	f, err := New(p, newSim(t, p, o), Options{Broker: at})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- f.Run(ctx) }()
	stop := sync.OnceFunc(func() {
		cancel()
		require.NoError(t, <-done)
	})
	t.Cleanup(stop)
	return f, context.CancelFunc(stop)
}
