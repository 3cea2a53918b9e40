package netrig

import (
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
	"github.com/stretchr/testify/require"

	"rillgate/daemon/broker/realbroker"
)

// house is the daemon as a process beside a real mosquitto on loopback, and a
// controller with as many outputs as there are zones.
type house struct {
	t          *testing.T
	dir        string
	broker     *realbroker.Broker
	daemon     *exec.Cmd
	said       said
	controller *controller
	seen       *moves
}

func newHouse(t *testing.T, zones int, o realbroker.Options) *house {
	t.Helper()
	h := &house{t: t, dir: t.TempDir(), broker: realbroker.Start(t, o), seen: newMoves()}
	writeRoom(t, h.dir, zones, h.broker.URL(), shortLease)
	h.controller = newController(h.address(), zones, h.seen.add)
	stop, ended := make(chan struct{}), make(chan struct{})
	go func() { defer close(ended); h.controller.serve(stop) }()
	t.Cleanup(func() { close(stop); <-ended })
	h.daemon = exec.Command(program(t), "run", "--config", h.dir, "--state", filepath.Join(h.dir, "state"))
	h.daemon.Stdout, h.daemon.Stderr = &h.said, &h.said
	h.daemon.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	require.NoError(t, onThread(h.daemon.Start), "start the daemon")
	endWith(t, h.daemon)
	return h
}

func (h *house) address() string { return strings.TrimPrefix(h.broker.URL(), "mqtt://") }

// memory gives a value of the daemon's /proc/PID/status, in bytes.
func (h *house) memory(name string) int {
	h.t.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", h.daemon.Process.Pid))
	require.NoError(h.t, err, "the daemon has ended: %s", &h.said)
	for line := range strings.Lines(string(text)) {
		if value, ok := strings.CutPrefix(line, name+":"); ok {
			kb, err := strconv.Atoi(strings.TrimSuffix(strings.TrimSpace(value), " kB"))
			require.NoError(h.t, err)
			return kb << 10
		}
	}
	require.FailNow(h.t, "the daemon has ended", "no %s; it said: %s", name, &h.said)
	return 0
}

// connections counts how often the daemon has connected: 2, as long as none was lost.
func (h *house) connections() int { return strings.Count(h.said.String(), "mqtt: connected") }

// connected awaits both of the daemon's connections.
func (h *house) connected() {
	h.t.Helper()
	require.Eventually(h.t, func() bool { return h.connections() == 2 }, firstWithin, 10*time.Millisecond, "the daemon does not connect")
}

// raw is a bare MQTT connection, so that no client library stands between the sender
// and the wire.
type raw struct{ net.Conn }

func dialRaw(address, id string) (*raw, error) {
	conn, err := net.Dial("tcp", address)
	if err != nil {
		return nil, err
	}
	hello := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
	hello.ProtocolName, hello.ProtocolVersion, hello.CleanSession, hello.ClientIdentifier = "MQTT", 4, true, id
	if err := hello.Write(conn); err != nil {
		return nil, err
	}
	answer, err := packets.ReadPacket(conn)
	if err != nil {
		return nil, err
	}
	if ack, ok := answer.(*packets.ConnackPacket); !ok || ack.ReturnCode != packets.Accepted {
		return nil, errors.New("connect to the broker: it refuses " + id)
	}
	return &raw{conn}, nil
}

// settle returns once the broker has handled all that was sent.
func (r *raw) settle() error {
	if err := packets.NewControlPacket(packets.Pingreq).Write(r); err != nil {
		return err
	}
	if err := r.SetReadDeadline(time.Now().Add(3 * time.Minute)); err != nil {
		return err
	}
	_, err := packets.ReadPacket(r)
	return err
}

// publication makes a PUBLISH packet of QoS 0.
func publication(topic string, retained bool, payload []byte) *packets.PublishPacket {
	m := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	m.TopicName, m.Retain, m.Payload = topic, retained, payload
	return m
}
