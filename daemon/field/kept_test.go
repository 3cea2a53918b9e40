package field

import (
	"testing"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/broker"
)

// The broker keeps no command for who subscribes later: the flag of a live message
// tells nothing (MQTT 3.1.1, section 3.3.1.3), so a late subscriber has to.
func TestCommandsAreNotKeptByTheBroker(t *testing.T) {
	b := embedded(t, broker.Options{})
	l := dial(t, config(b.URL()))
	controller := newHand(t, b.URL(), "controller", root+"valve/+/command")
	waitUp(t, l)
	require.True(t, l.Send(opening(1)))
	require.True(t, l.Send(closing(2)))
	controller.next()
	controller.next()
	late := newHand(t, b.URL(), "late", root+"valve/+/command")
	late.say(root+"valve/1/command", false, "after all that was kept")
	require.Equal(t, "after all that was kept", string(late.next().Payload()))
}
