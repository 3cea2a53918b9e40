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
	switch b {
	case mqtt.OnConnect, mqtt.OnConnectAuthenticate, mqtt.OnACLCheck, mqtt.OnSubscribe, mqtt.OnUnsubscribe:
		return true
	}
	return false
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

// OnSubscribe lets no filter be refused because the client's packet has the number of a
// message on its way to that client: either side numbers its own packets (MQTT 3.1.1,
// section 2.3.1), but the library keeps one list for both. The message has left and
// comes; only its acknowledgement is not waited for.
func (g *gate) OnSubscribe(cl *mqtt.Client, pk packets.Packet) packets.Packet {
	cl.State.Inflight.Delete(pk.PacketID)
	return pk
}

// OnUnsubscribe does the same when filters are taken back.
func (g *gate) OnUnsubscribe(cl *mqtt.Client, pk packets.Packet) packets.Packet {
	return g.OnSubscribe(cl, pk)
}
