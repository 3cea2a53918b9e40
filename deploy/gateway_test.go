package deploy_test

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/field"
	"rillgate/zones"
)

const (
	home     = "rillgate/bay-2/field/north/"
	pack     = `[{"bn":"1:0:","n":"moisture","u":"/","v":0.462}]`
	reported = `{"boot":"9f31c2","uptime_ms":1000,"epoch":0,"seq":0,"outputs":{"1":{"open":false}}}`
	command  = home + "valve/1/command"
	setTopic = "homie/5/bay-2/zone-east/hold/set"
)

// dial connects the daemon's own link as the daemon does.
func dial(t *testing.T, broker string) *field.Link {
	t.Helper()
	secret := filepath.Join(t.TempDir(), "password")
	require.NoError(t, os.WriteFile(secret, []byte("gateway\n"), 0o600))
	began := time.Now()
	link, err := field.Dial(field.Config{URL: broker, Username: "gateway", PasswordFile: secret, Room: "bay-2", Machine: "box",
		Will: &field.Will{Topic: "homie/5/bay-2/$state", Payload: []byte("lost"), QoS: 1, Retained: true},
		Mono: func() time.Duration { return time.Since(began) }})
	require.NoError(t, err)
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), soon)
		defer cancel()
		link.Close(ctx)
	})
	return link
}

func hears(t *testing.T, p *person, topic, payload string) {
	t.Helper()
	require.Eventually(t, func() bool {
		p.mu.Lock()
		defer p.mu.Unlock()
		return slices.ContainsFunc(p.heard, func(w word) bool { return w.topic == topic && w.payload == payload })
	}, soon, often, "%s %s", topic, payload)
}

// TestTheGatewayCanWork: under the rules everything that the daemon's link needs
// arrives, and a retained command of somebody else is found and cleared.
func TestTheGatewayCanWork(t *testing.T) {
	t.Parallel()
	broker := ruledBroker(t)
	observer := known(t, broker, "observer", "observer")
	observer.say(command, true, `{"epoch":1,"seq":1,"run":"r-1","open":false}`)
	observer.ask(command)
	north, operator := known(t, broker, "north", "north"), known(t, broker, "operator", "operator")
	north.ask(home + "valve/+/command")
	operator.ask("homie/5/bay-2/#", "rillgate/bay-2/alarms")

	link := dial(t, broker)
	orders := make(chan string, 1)
	link.Subscribe("homie/5/bay-2/+/+/set", func(m field.Message) { orders <- m.Topic })
	require.Eventually(t, func() bool {
		up, _ := link.Up()
		readings, wrong := link.ReadingsUp()
		return up && readings && wrong == ""
	}, soon, often, "both connections, and the echo came back")
	hears(t, observer, command, "") // cleared

	north.say(home+"status", true, "online")
	north.say(home+"readings", false, pack)
	north.say(home+"report", false, reported)
	north.say(home+"input/tank-low", true, `{"active":false}`)
	arrived := map[string]bool{}
	require.Eventually(t, func() bool {
		for _, a := range link.Drain(nil) {
			switch a.Event.(type) {
			case *zones.Status:
				arrived["status"] = true
			case *zones.Reading:
				arrived["readings"] = true
			case *zones.Report:
				arrived["report"] = true
			case *zones.InputState:
				arrived["input"] = true
			}
		}
		return len(arrived) == 4
	}, soon, often, "arrived: %v", arrived)
	require.Empty(t, slices.DeleteFunc(link.Refusals(), func(r field.Refusal) bool { return r.Cause == "retained-command" }))

	out := zones.Command{Output: zones.Output{Controller: "north", Number: 1}, Epoch: 2, Seq: 1, Run: "r-2-1"}
	require.True(t, link.Send(&out))
	hears(t, north, command, string(field.EncodeCommand(&out)))
	require.True(t, link.Publish("homie/5/bay-2/zone-east/moisture", 1, true, []byte("46.2")))
	hears(t, operator, "homie/5/bay-2/zone-east/moisture", "46.2")
	require.True(t, link.Publish("rillgate/bay-2/alarms", 1, true, []byte("[]")))
	hears(t, operator, "rillgate/bay-2/alarms", "[]")
	operator.say(setTopic, false, "true")
	require.Equal(t, setTopic, <-orders)
}
