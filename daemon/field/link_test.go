package field

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/broker"
	"rillgate/daemon/broker/realbroker"
	"rillgate/zones"
)

const pack = `[{"bn":"1:0:","n":"moisture","u":"/","v":0.462}]`

func TestEventsComeInAndCommandsGoOut(t *testing.T) {
	b := embedded(t, broker.Options{})
	l := dial(t, config(b.URL()))
	controller := newHand(t, b.URL(), "controller", root+"valve/+/command")
	waitUp(t, l)
	require.Equal(t, &zones.BrokerLink{Up: true}, l.Drain(nil)[0].Event)

	before := l.cfg.Mono()
	controller.say(root+"status", false, "online")
	controller.say(root+"report", false, `{"boot":"9f31c2","uptime_ms":1000,"epoch":0,"seq":0,"outputs":{"1":{"open":false}}}`)
	controller.say(root+"input/tank-low", false, `{"active":true}`)
	controller.say(root+"readings", false, pack)
	got := events(t, l, 4)
	kinds := make([]string, 0, 4)
	for i, a := range got {
		kinds = append(kinds, fmt.Sprintf("%T", a.Event))
		require.GreaterOrEqual(t, a.Arrived, before)
		require.LessOrEqual(t, a.Arrived, l.cfg.Mono())
		require.True(t, i == 0 || got[i-1].Arrived <= a.Arrived)
	}
	require.ElementsMatch(t, []string{"*zones.Status", "*zones.Report", "*zones.InputState", "*zones.Reading"}, kinds)

	require.True(t, l.Send(opening(1)))
	require.True(t, l.Send(closing(2)))
	m := controller.next()
	require.Equal(t, root+"valve/1/command", m.Topic())
	require.JSONEq(t, `{"epoch":3,"seq":1,"run":"r-1","open":true,"boot":"9f31c2","until_ms":5000}`, string(m.Payload()))
	require.False(t, m.Retained())
	require.Equal(t, byte(1), m.Qos())
	require.JSONEq(t, `{"epoch":3,"seq":2,"run":"r-1","open":false}`, string(controller.next().Payload()))
	require.Equal(t, uint64(2), l.Stats().CommandsSent)
	require.Empty(t, l.Refusals())
}

func TestRetainedMessagesAreMarked(t *testing.T) {
	b := embedded(t, broker.Options{})
	h := newHand(t, b.URL(), "before", "ready")
	h.say(root+"status", true, "offline")
	h.say(root+"report", true, `{"boot":"9f31c2","uptime_ms":1000,"epoch":0,"seq":0,"outputs":{}}`)
	h.say(root+"input/tank-low", true, `{"active":true}`)
	h.say(root+"readings", true, pack)
	h.say("ready", false, "") // this broker acknowledges before it hands on
	h.next()
	l := dial(t, config(b.URL()))
	retained := func(a Arrival) bool {
		switch ev := a.Event.(type) {
		case *zones.Reading:
			return ev.Retained
		case *zones.Report:
			return ev.Retained
		case *zones.Status:
			return ev.Retained
		case *zones.InputState:
			return ev.Retained
		}
		return false
	}
	for _, a := range events(t, l, 4) {
		require.True(t, retained(a), "%T", a.Event)
	}
	waitUp(t, l)
	h.say(root+"readings", true, pack)
	require.False(t, retained(events(t, l, 1)[0]), "a live message is not retained, whatever its flag on the way in")
}

func TestRetainedCommandsAreClearedAndCounted(t *testing.T) {
	b := embedded(t, broker.Options{})
	h := newHand(t, b.URL(), "mischief", root+"valve/+/command")
	h.say(root+"valve/1/command", true, `{"epoch":1,"seq":1,"run":"x","open":true,"boot":"9f31c2","until_ms":5000}`)
	l := dial(t, config(b.URL()))
	waitUp(t, l)
	h.next() // its own
	require.Empty(t, h.next().Payload(), "the clearing")
	refused := l.Refusals()
	require.Len(t, refused, 1)
	require.Equal(t, "retained-command", refused[0].Cause)
	require.Equal(t, root+"valve/1/command", refused[0].Topic)
	controller := newHand(t, b.URL(), "controller", root+"valve/+/command")
	require.True(t, l.Send(closing(2)))
	m := controller.next()
	require.Contains(t, string(m.Payload()), `"seq":2`, "the retained command is still there")
	require.Len(t, l.Refusals(), 1, "our own commands are no refusals")
}

func TestBadInputIsCountedByCause(t *testing.T) {
	b := embedded(t, broker.Options{})
	l := dial(t, config(b.URL()))
	waitUp(t, l)
	h := newHand(t, b.URL(), "odd")
	h.say(root+"readings", false, `[{"bn":"1:0:","n":"moisture","u":"/","v":46.2}]`)
	h.say(root+"readings", false, `nonsense`)
	h.say(root+"readings", false, `[`+strings.Repeat(" ", MaxPayload)+`]`)
	h.say(root+"readings", false, `[`+strings.Repeat(" ", 9*MaxPayload)+`]`)
	h.say("rillgate/bay-2/field/NORTH/readings", false, pack)
	h.say("rillgate/bay-2/field/NORTH/report", false, `{}`)
	h.say(root+"report", false, `{"boot":"1"}`)
	h.say(root+"report", false, strings.Repeat(" ", 9*MaxPayload))
	h.say(root+"status", false, `gone`)
	h.say(root+"input/tank-low", false, `{"active":2}`)
	h.say(root+"report", false, `{"boot":"9f31c2","uptime_ms":1000,"epoch":0,"seq":0,"outputs":{}}`)
	h.say(root+"readings", false, pack)
	events(t, l, 2)
	counts := map[string]uint64{}
	for _, r := range l.Refusals() {
		counts[r.Cause] = r.Count
		require.NotEmpty(t, r.Hint)
		require.NotEmpty(t, r.Topic)
		if r.Cause == "value" {
			require.Equal(t, Refusal{"value", 1, "46.2 with unit /: 0 to 1 is due", root + "readings"}, r)
		}
	}
	require.Equal(t, map[string]uint64{"value": 1, "json": 1, "too-long": 3, "topic": 2, "report": 1, "status": 1, "input": 1}, counts)
	up, _ := l.Up()
	require.True(t, up, "bad input is never fatal")
}

func TestStatesGoOutAndOtherTopicsComeIn(t *testing.T) {
	b := embedded(t, broker.Options{})
	cfg := config(b.URL())
	cfg.Will = &Will{Topic: "homie/5/bay-2/$state", Payload: []byte("lost"), QoS: 1, Retained: true}
	l := dial(t, cfg)
	set := make(chan Message, 10)
	l.Subscribe("homie/5/bay-2/+/+/set", func(m Message) { set <- m })
	tool := newHand(t, b.URL(), "tool", "homie/#")
	waitUp(t, l)
	<-l.Opened()
	require.True(t, l.Publish("homie/5/bay-2/gateway/clock", 1, true, []byte("trusted")))
	m := tool.next()
	require.Equal(t, "homie/5/bay-2/gateway/clock trusted", m.Topic()+" "+string(m.Payload()))

	require.Eventually(t, func() bool {
		tool.say("homie/5/bay-2/zone-east/hold/set", false, "true")
		select {
		case m := <-set:
			require.Equal(t, Message{"homie/5/bay-2/zone-east/hold/set", []byte("true"), false}, m)
			return true
		case <-time.After(50 * time.Millisecond):
			return false
		}
	}, soon, often)

	require.True(t, l.Publish("homie/5/bay-2/$state", 1, true, []byte("disconnected")))
	closeSoon(l)
	late := newHand(t, b.URL(), "late", "homie/5/bay-2/$state")
	require.Equal(t, "disconnected", string(late.next().Payload()), "what was queued went out, and no will came after it")
	require.False(t, l.Publish("homie/5/bay-2/$state", 1, true, nil))
	require.False(t, l.Send(closing(1)))
}

func TestDeniedEchoIsFoundOut(t *testing.T) {
	t.Parallel()
	deny := make(chan bool, 1)
	deny <- true
	denied := func(_, topic string, write bool) bool {
		d := <-deny
		deny <- d
		return d && write && topic == EchoTopic("bay-2")
	}
	b := embedded(t, broker.Options{Deny: denied})
	l := dial(t, config(b.URL()))
	controller := newHand(t, b.URL(), "controller", root+"valve/+/command")
	require.Eventually(t, func() bool {
		_, why := l.Up()
		return strings.HasPrefix(why, "broker denies topic rillgate/bay-2/gateway/echo")
	}, soon, often)
	require.Empty(t, l.Drain(nil), "the loop heard that the link is up")
	require.False(t, l.Send(opening(1)), "no opening without the echo")
	require.True(t, l.Send(closing(2)), "a close may be tried all the same")
	require.Contains(t, string(controller.next().Payload()), `"seq":2`)

	<-deny
	deny <- false
	waitUp(t, l)
	require.True(t, l.Send(opening(3)))
	require.Contains(t, string(controller.next().Payload()), `"seq":3`)
}

func TestDeniedSubscriptionIsToldByName(t *testing.T) {
	b := embedded(t, broker.Options{Deny: func(_, topic string, write bool) bool {
		return !write && (topic == "rillgate/bay-2/field/+/report" || topic == "rillgate/bay-2/field/+/readings" || strings.Contains(topic, "valve"))
	}})
	l := dial(t, config(b.URL()))
	require.Eventually(t, func() bool {
		_, commands := l.Up()
		_, readings := l.ReadingsUp()
		return strings.Contains(commands, "denies topic rillgate/bay-2/field/+/report") &&
			strings.Contains(readings, "denies topic rillgate/bay-2/field/+/readings: let")
	}, soon, often)
}

func TestPasswordIsReadFromItsFile(t *testing.T) {
	b := embedded(t, broker.Options{Users: map[string]string{"gateway": "right"}})
	cfg := config(b.URL())
	cfg.Username, cfg.PasswordFile = "gateway", writeFile(t, "wrong\n")
	l := dial(t, cfg)
	require.Eventually(t, func() bool {
		_, why := l.Up()
		return strings.Contains(why, `broker refuses user "gateway": check username and password_file`)
	}, soon, often)
	rewriteFile(t, cfg.PasswordFile, "right\n")
	waitUp(t, l)
}

func TestAnotherClientWithOurIDIsTold(t *testing.T) {
	t.Parallel()
	b := embedded(t, broker.Options{})
	cfg := config(b.URL())
	l := dial(t, cfg)
	waitUp(t, l)
	twin := dial(t, cfg)
	require.Eventually(t, func() bool {
		_, one := l.Up()
		_, two := twin.Up()
		return strings.Contains(one+two, "another client uses our client id \"rillgate-bay-2-commands-")
	}, soon, often)
}

func TestNothingIsSentWithoutABroker(t *testing.T) {
	l := dial(t, config("mqtt://127.0.0.1:1"))
	require.Eventually(t, func() bool { _, why := l.Up(); return strings.Contains(why, "refused") }, soon, often)
	require.False(t, l.Send(opening(1)))
	require.False(t, l.Send(closing(2)))
	require.False(t, l.Publish("a", 0, false, nil))
	require.Equal(t, uint64(2), l.Stats().CommandsDropped)
	require.Empty(t, l.Drain(nil))
	began := time.Now()
	closeSoon(l)
	require.Less(t, time.Since(began), 2*time.Second)
}

// A command that a loss leaves in the queue belongs to the lost session.
func TestCommandsOfALostSessionAreDropped(t *testing.T) {
	t.Parallel()
	b := realbroker.Start(t, realbroker.Options{})
	l := dial(t, config(b.URL()))
	controller := newHand(t, b.URL(), "controller", root+"valve/+/command")
	waitUp(t, l)
	require.True(t, l.Send(opening(1)))
	require.Contains(t, string(controller.next().Payload()), `"seq":1`)
	b.Freeze()
	for seq := uint32(2); seq < 400; seq++ {
		l.Send(opening(seq)) // the socket takes some, the queue some, the rest is refused
	}
	b.Kill()
	waitDown(t, l)
	b.Restart()
	controller = newHand(t, b.URL(), "controller", root+"valve/+/command")
	waitUp(t, l)
	require.True(t, l.Send(closing(1000)))
	require.Contains(t, string(controller.next().Payload()), `"seq":1000`, "something older came first")
}
