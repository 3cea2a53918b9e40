package field

import (
	"context"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"
)

// The broker keeps nothing for a gateway that is gone: a command that waited for it there
// would be one that nobody decided now.
func TestSessionsAreClean(t *testing.T) {
	ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
	defer cancel()
	o := mqtt.NewClientOptions().SetCleanSession(false)
	c := &Config{}
	c.times.connect = time.Second
	_, err := openSession(ctx, c, endpoint{host: "127.0.0.1", port: "1"}, o, nil)
	require.Error(t, err)
	require.True(t, o.CleanSession)
	require.False(t, o.AutoReconnect || o.ConnectRetry)
}
