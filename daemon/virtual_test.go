package daemon

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/configs"
	"rillgate/daemon/broker"
	"rillgate/zones"
)

// onBroker is a daemon on the embedded broker, in virtual time.
func onBroker(t *testing.T) (*Daemon, *VirtualClock) {
	t.Helper()
	d, c, _ := onABroker(t)
	return d, c
}

func onABroker(t *testing.T) (*Daemon, *VirtualClock, *broker.Broker) {
	t.Helper()
	b, err := broker.Start("127.0.0.1:0", broker.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { _ = b.Close() })
	o, c := inRoom(t)
	path := filepath.Join(o.Config, configs.GatewayFile)
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(path, []byte(strings.ReplaceAll(string(text), "mqtt://127.0.0.1:1883", b.URL())), 0o600))
	d := open(t, o)
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	require.NoError(t, d.Await(ctx))
	return d, c, b
}

// say publishes as a controller would, over the daemon's own connection for state.
func say(t *testing.T, d *Daemon, topic, payload string) {
	t.Helper()
	require.True(t, d.link.Publish("rillgate/demo/field/"+topic, 1, false, []byte(payload)))
	barrier(t, d)
	barrier(t, d)
	d.Settle()
}

func barrier(t *testing.T, d *Daemon) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	require.NoError(t, d.Barrier(ctx))
}

// A refused message is told on the page and in the journal, once an hour for a cause.
func TestRefusedMessagesAreTold(t *testing.T) {
	d, c := onBroker(t)
	told := func() (n int) {
		for _, l := range d.trail.recent(0, 1000) {
			if l.Kind == "message-refused" {
				n++
				require.Contains(t, l.Because, "0 to 1")
			}
		}
		return n
	}
	for minute := range 70 {
		say(t, d, "north/readings", `[{"bn":"1:0:","n":"moisture","u":"/","v":46.2}]`)
		c.Set(time.Duration(minute+1) * time.Minute)
		_, err := d.Advance()
		require.NoError(t, err)
		require.Contains(t, strings.Join(d.notices(), "\n"), "0 to 1")
	}
	require.Equal(t, 2, told())
	c.Set(72 * time.Minute)
	_, err := d.Advance()
	require.NoError(t, err)
	require.NotContains(t, strings.Join(d.notices(), "\n"), "0 to 1", "what is over leaves the page")
	require.NoError(t, d.Close(nil))
}

// The register keeps who was heard first and last, over a restart.
func TestRegisterSurvives(t *testing.T) {
	d, c := onBroker(t)
	say(t, d, "north/readings", `[{"bn":"1:0:","n":"moisture","u":"/","v":0.5}]`)
	say(t, d, "north/readings", `[{"bn":"4:9:","n":"moisture","u":"/","v":0.5}]`)
	c.Set(5 * time.Second)
	_, err := d.Advance()
	require.NoError(t, err)
	o := d.o
	require.NoError(t, d.Close(nil))
	d = open(t, o)
	probes, err := d.files.store.Probes()
	require.NoError(t, err)
	var places []string
	for _, p := range probes {
		places = append(places, p.Place.String())
		require.False(t, p.FirstSeen.IsZero())
	}
	require.Contains(t, places, "north/4/9", "a probe that no file names is in the register")
	require.NoError(t, d.Close(nil))
}

// An order over a set-topic is obeyed and answered; what `orders` does not allow is
// not.
func TestOrdersOverSetTopics(t *testing.T) {
	d, c := onBroker(t)
	set := func(property, payload string) {
		t.Helper()
		require.True(t, d.link.Publish("homie/5/demo/"+property+"/set", 1, false, []byte(payload)))
		barrier(t, d)
		barrier(t, d)
		c.Set(c.Since() + 11*time.Second)
		_, err := d.Advance()
		require.NoError(t, err)
	}
	for range 3 { // the birth takes a few looks
		c.Set(c.Since() + time.Second)
		_, err := d.Advance()
		require.NoError(t, err)
		barrier(t, d)
	}
	set("zone-bench-a/hold", "true")
	v := d.view()
	require.NotNil(t, v.Zones[0].HoldUntil)
	require.Equal(t, zones.Source("mqtt"), v.Zones[0].HoldSource)
	set("zone-bench-a/hold", "false")
	v = d.view()
	require.Nil(t, v.Zones[0].HoldUntil)
	set("zone-bench-a/shot", "PT30S")
	set("gateway/stop", "true")
	v = d.view()
	require.True(t, v.Stopped)
	set("gateway/stop", "false")
	v = d.view()
	require.True(t, v.Stopped, "only a reset lifts it")
	require.NoError(t, d.Close(nil))
}
