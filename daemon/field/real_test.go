package field

import (
	"context"
	"net"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/broker/realbroker"
	"rillgate/zones"
)

func TestKilledBrokerIsFoundAgain(t *testing.T) {
	t.Parallel()
	b := realbroker.Start(t, realbroker.Options{})
	l := dial(t, config(b.URL()))
	waitUp(t, l)
	<-l.Opened()
	set := make(chan Message, 10)
	l.Subscribe("homie/+/set", func(m Message) { set <- m })
	require.Equal(t, uint64(1), l.Session())
	for n := range uint64(2) {
		b.Kill()
		waitDown(t, l)
		require.Eventually(t, func() bool { return l.Session() == 0 }, soon, often)
		require.False(t, l.Send(closing(1)))
		b.Restart()
		waitUp(t, l)
		<-l.Opened()
		require.Equal(t, n+2, l.Session())
		h := newHand(t, b.URL(), "controller", root+"valve/+/command")
		l.Drain(nil)
		h.say(root+"readings", false, pack)
		h.say(root+"input/tank-low", false, `{"active":true}`)
		events(t, l, 2)
		h.say("homie/x/set", false, "true")
		require.Equal(t, "homie/x/set", (<-set).Topic)
		require.True(t, l.Send(opening(1)))
		require.Equal(t, root+"valve/1/command", h.next().Topic())
	}
}

// A blink that the loop did not see in between is told as down, then up.
func TestBlinkIsTold(t *testing.T) {
	t.Parallel()
	b := realbroker.Start(t, realbroker.Options{})
	l := dial(t, config(b.URL()))
	waitUp(t, l)
	l.Drain(nil)
	b.Kill()
	waitDown(t, l)
	b.Restart()
	waitUp(t, l)
	var link []zones.Event
	for _, a := range l.Drain(nil) {
		link = append(link, a.Event)
	}
	require.Equal(t, []zones.Event{&zones.BrokerLink{}, &zones.BrokerLink{Up: true}}, link)
}

func TestFrozenBrokerIsNoticed(t *testing.T) {
	t.Parallel()
	b := realbroker.Start(t, realbroker.Options{})
	l := dial(t, config(b.URL()))
	waitUp(t, l)
	b.Freeze()
	began := time.Now()
	waitDown(t, l)
	require.Less(t, time.Since(began), 4*time.Second, "keepalive 1 s and ping 0.5 s")
	_, why := l.Up()
	require.NotEmpty(t, why)
	b.Thaw()
	waitUp(t, l)
}

// mosquitto grants a denied subscription and acknowledges a denied publish: only
// the echo finds it out.
func TestDeniedTopicIsFoundOnARealBroker(t *testing.T) {
	t.Parallel()
	for name, acl := range map[string]string{
		"writing": "user gateway\ntopic readwrite rillgate/bay-2/field/#\ntopic read rillgate/bay-2/gateway/#\n",
		"reading": "user gateway\ntopic readwrite rillgate/bay-2/field/#\ntopic write rillgate/bay-2/gateway/#\n",
	} {
		t.Run(name, func(t *testing.T) {
			b := realbroker.Start(t, realbroker.Options{Users: map[string]string{"gateway": "secret"}, ACL: acl})
			cfg := config(b.URL())
			cfg.Username, cfg.PasswordFile = "gateway", writeFile(t, "secret")
			l := dial(t, cfg)
			require.Eventually(t, func() bool {
				up, why := l.Up()
				return !up && strings.Contains(why, "broker denies topic rillgate/bay-2/gateway/echo")
			}, soon, often)
			require.Empty(t, l.Drain(nil))
		})
	}
	b := realbroker.Start(t, realbroker.Options{
		Users: map[string]string{"gateway": "secret"},
		ACL:   "user gateway\ntopic readwrite rillgate/bay-2/#\n",
	})
	cfg := config(b.URL())
	cfg.Username, cfg.PasswordFile = "gateway", writeFile(t, "secret")
	waitUp(t, dial(t, cfg))
}

// valve is a proxy that can be shut, so that bytes vanish while both sides think
// the connection stands, and cut.
type valve struct {
	ln     net.Listener
	target string
	mu     sync.Mutex
	shut   bool
	conns  []net.Conn
}

func newValve(t *testing.T, url string) *valve {
	t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	v := &valve{ln: ln, target: strings.TrimPrefix(url, "mqtt://")}
	var accepting sync.WaitGroup
	accepting.Go(v.accept)
	t.Cleanup(func() {
		require.NoError(t, ln.Close())
		v.cut()
		accepting.Wait()
	})
	return v
}

func (v *valve) url() string { return "mqtt://" + v.ln.Addr().String() }

func (v *valve) accept() {
	var copying sync.WaitGroup
	defer copying.Wait()
	for {
		in, err := v.ln.Accept()
		if err != nil {
			return
		}
		out, err := net.Dial("tcp", v.target)
		if err != nil {
			in.Close()
			continue
		}
		v.mu.Lock()
		v.conns = append(v.conns, in, out)
		v.mu.Unlock()
		copying.Go(func() { v.copy(out, in) })
		copying.Go(func() { v.copy(in, out) })
	}
}

func (v *valve) copy(to, from net.Conn) {
	defer to.Close()
	buf := make([]byte, 4096)
	for {
		n, err := from.Read(buf)
		if err != nil {
			return
		}
		if !v.isShut() {
			if _, err := to.Write(buf[:n]); err != nil {
				return
			}
		}
	}
}

func (v *valve) isShut() bool {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.shut
}

func (v *valve) setShut(shut bool) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.shut = shut
}

func (v *valve) cut() {
	v.mu.Lock()
	defer v.mu.Unlock()
	for _, c := range v.conns {
		c.Close()
	}
	v.conns = nil
}

// What was handed to a connection that turns out to be dead is not sent by the next
// one, although QoS 1 was asked for.
func TestNothingIsSentAgainAfterALoss(t *testing.T) {
	t.Parallel()
	b := realbroker.Start(t, realbroker.Options{})
	v := newValve(t, b.URL())
	l := dial(t, config(v.url()))
	controller := newHand(t, b.URL(), "controller", root+"valve/+/command", "state/#")
	waitUp(t, l)
	v.setShut(true)
	for seq := uint32(1); seq <= 20; seq++ {
		require.True(t, l.Send(opening(seq)), "the loss is not known yet")
		require.True(t, l.Publish("state/x", 1, true, []byte("old")))
	}
	require.Eventually(t, func() bool { return l.Stats().CommandsSent == 20 && l.Stats().StatesSent == 20 }, soon, often)
	waitDown(t, l)
	v.cut()
	v.setShut(false)
	waitUp(t, l)
	require.True(t, l.Send(closing(1000)))
	require.Contains(t, string(controller.next().Payload()), `"seq":1000`, "something older came first")
	require.True(t, l.Publish("state/x", 1, false, []byte("new")))
	require.Equal(t, "new", string(controller.next().Payload()), "something older came first")
}

// The order belongs to the session in which it was given, and an opening goes stale.
func TestOrdersOfAnotherSessionOrTooOldAreDropped(t *testing.T) {
	b := realbroker.Start(t, realbroker.Options{})
	l := dial(t, config(b.URL()))
	waitUp(t, l)
	s, _ := l.commands.state()
	ctx := context.Background()
	now := time.Now()
	require.True(t, l.sendOrder(ctx, s, order{session: s, topic: "x", open: true, at: now}))
	require.False(t, l.sendOrder(ctx, s, order{session: &session{}, topic: "x", at: now}))
	require.False(t, l.sendOrder(ctx, s, order{session: s, topic: "x", open: true, at: now.Add(-2 * time.Second)}))
	require.True(t, l.sendOrder(ctx, s, order{session: s, topic: "x", at: now.Add(-2 * time.Second)}), "a close is never too late")
	require.False(t, l.sendState(ctx, s, message{session: &session{}, topic: "x"}))
}

func TestFloodIsBoundedAndACloseLeavesPromptly(t *testing.T) {
	b := realbroker.Start(t, realbroker.Options{Extra: "max_queued_messages 0\n"})
	cfg := config(b.URL())
	cfg.times = defaultTimings()
	l := dial(t, cfg)
	controller := newHand(t, b.URL(), "controller", root+"valve/+/command")
	waitUp(t, l)
	const flood = 40_000 // near ten times what may wait
	done := make(chan error, 1)
	go func() { done <- pour(b.URL(), flood) }()
	require.Eventually(t, func() bool { return l.Stats().Readings > flood/10 }, soon, often)
	began := time.Now()
	require.True(t, l.Send(closing(7)))
	require.Contains(t, string(controller.next().Payload()), `"seq":7`)
	took := time.Since(began)
	require.NoError(t, <-done)
	require.Eventually(t, func() bool { return l.Stats().Readings == flood }, 6*soon, often)
	require.Equal(t, uint64(2), l.Stats().Connects, "no connection was lost in the flood")
	t.Logf("a close took %v in the flood", took)
	require.Less(t, took, time.Second)

	var m runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&m)
	require.Less(t, m.HeapAlloc, uint64(32<<20))
	got := l.Drain(nil)
	require.LessOrEqual(t, len(got), maxWaitingReadings+maxWaitingSignals)
	require.Equal(t, flood, int(l.Stats().ReadingsShed)+len(got)-1, "each is either there or counted (one more is the link's)")
	up, _ := l.Up()
	require.True(t, up)
}

// pour publishes packs over a bare connection as fast as the broker takes them.
func pour(url string, n int) error {
	p, err := newPourer(url)
	if err != nil {
		return err
	}
	for i := range n {
		p.publish(i)
	}
	return p.close()
}

func TestWillIsPublishedOnALossAlone(t *testing.T) {
	b := realbroker.Start(t, realbroker.Options{})
	v := newValve(t, b.URL())
	cfg := config(v.url())
	cfg.Will = &Will{Topic: "homie/5/bay-2/$state", Payload: []byte("lost"), QoS: 1, Retained: true}
	l := dial(t, cfg)
	tool := newHand(t, b.URL(), "tool", "homie/#")
	waitUp(t, l)
	v.cut()
	require.Equal(t, "lost", string(tool.next().Payload()))
	require.Eventually(t, func() bool { return l.Stats().Connects >= 4 }, soon, often)
	waitUp(t, l)
	closeSoon(l)
	tool.say("homie/end", false, "")
	require.Equal(t, "homie/end", tool.next().Topic(), "a clean end publishes no will")
}

// Closing a link whose broker is frozen ends within its time.
func TestCloseIsBounded(t *testing.T) {
	t.Parallel()
	b := realbroker.Start(t, realbroker.Options{})
	l, err := Dial(config(b.URL()))
	require.NoError(t, err)
	waitUp(t, l)
	b.Freeze()
	require.True(t, l.Send(closing(1)))
	require.True(t, l.Publish("x", 1, false, nil))
	ctx, cancel := context.WithTimeout(context.Background(), 300*time.Millisecond)
	defer cancel()
	began := time.Now()
	l.Close(ctx)
	require.Less(t, time.Since(began), 2*time.Second)
}

func TestGoroutinesEnd(t *testing.T) {
	b := realbroker.Start(t, realbroker.Options{})
	before := runtime.NumGoroutine()
	for range 5 {
		l, err := Dial(config(b.URL()))
		require.NoError(t, err)
		waitUp(t, l)
		require.LessOrEqual(t, runtime.NumGoroutine()-before, 40)
		closeSoon(l)
	}
	require.Eventually(t, func() bool { return runtime.NumGoroutine() <= before+1 }, soon, often)
}
