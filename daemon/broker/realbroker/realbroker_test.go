package realbroker_test

import (
	"strings"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"

	"rillgate/daemon/broker/realbroker"
)

const soon = 5 * time.Second

func try(b *realbroker.Broker, user, password string) error {
	c := mqtt.NewClient(mqtt.NewClientOptions().
		AddBroker(strings.Replace(b.URL(), "mqtt://", "tcp://", 1)).
		SetClientID("try").SetProtocolVersion(4).SetAutoReconnect(false).
		SetConnectTimeout(soon).SetUsername(user).SetPassword(password))
	token := c.Connect()
	if !token.WaitTimeout(soon) {
		return mqtt.ErrNotConnected
	}
	c.Disconnect(0)
	return token.Error()
}

func TestBrokerRunsDiesAndRunsAgain(t *testing.T) {
	b := realbroker.Start(t, realbroker.Options{})
	url := b.URL()
	require.NoError(t, try(b, "", ""))
	b.Freeze()
	b.Kill()
	require.Error(t, try(b, "", ""))
	b.Restart()
	require.Equal(t, url, b.URL())
	require.NoError(t, try(b, "", ""))
	b.Stop()
	require.Error(t, try(b, "", ""))
}

func TestPasswordsAndRulesAreTaken(t *testing.T) {
	b := realbroker.Start(t, realbroker.Options{
		Users: map[string]string{"gateway": "right"},
		ACL:   "user gateway\ntopic readwrite #\n",
	})
	require.NoError(t, try(b, "gateway", "right"))
	require.Error(t, try(b, "gateway", "wrong"))
	require.Error(t, try(b, "", ""))
}
