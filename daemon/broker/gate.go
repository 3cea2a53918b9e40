package broker

import (
	"crypto/subtle"
	"errors"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// mqtt311 is the protocol level of MQTT 3.1.1 (MQTT 3.1.1, section 3.1.2.2).
const mqtt311 = 4

var errOtherVersion = errors.New("refuse a client that does not speak MQTT 3.1.1")

// gate decides who comes in and who may use a topic.
type gate struct {
	mqtt.HookBase
	options Options
}

func newGate(o Options) *gate { return &gate{options: o} }

// ID names the hook.
func (g *gate) ID() string { return "gate" }

// Provides lists what the hook answers.
func (g *gate) Provides(b byte) bool {
	return b == mqtt.OnConnect || b == mqtt.OnConnectAuthenticate || b == mqtt.OnACLCheck
}

// OnConnect refuses every version but 3.1.1 before any other packet is read.
func (g *gate) OnConnect(_ *mqtt.Client, pk packets.Packet) error {
	if pk.ProtocolVersion != mqtt311 {
		return errOtherVersion
	}
	return nil
}

// OnConnectAuthenticate checks the password when users are given.
func (g *gate) OnConnectAuthenticate(_ *mqtt.Client, pk packets.Packet) bool {
	if len(g.options.Users) == 0 {
		return true
	}
	want, known := g.options.Users[string(pk.Connect.Username)]
	return known && subtle.ConstantTimeCompare([]byte(want), pk.Connect.Password) == 1
}

// OnACLCheck asks Deny.
func (g *gate) OnACLCheck(cl *mqtt.Client, topic string, write bool) bool {
	return g.options.Deny == nil || !g.options.Deny(cl.ID, topic, write)
}
