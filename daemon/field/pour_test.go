package field

import (
	"bufio"
	"errors"
	"fmt"
	"net"
	"strings"

	"github.com/eclipse/paho.mqtt.golang/packets"
)

// pourProbes is how many probes the poured packs come from, in turn.
const pourProbes = 200

// pourer publishes ready-made packs of readings at QoS 0, without a client library,
// so that the subscriber is what is measured.
type pourer struct {
	conn  net.Conn
	out   *bufio.Writer
	packs [][]byte
}

func newPourer(url string) (*pourer, error) {
	conn, err := net.Dial("tcp", strings.TrimPrefix(url, "mqtt://"))
	if err != nil {
		return nil, err
	}
	p := &pourer{conn: conn, out: bufio.NewWriterSize(conn, 32<<10)}
	hello := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
	hello.ProtocolName, hello.ProtocolVersion, hello.CleanSession, hello.ClientIdentifier = "MQTT", 4, true, "pourer"
	if err := hello.Write(conn); err != nil {
		return nil, err
	}
	answer, err := packets.ReadPacket(conn)
	if err != nil {
		return nil, err
	}
	if ack, ok := answer.(*packets.ConnackPacket); !ok || ack.ReturnCode != packets.Accepted {
		return nil, errors.New("the broker refuses the pourer")
	}
	return p, p.prepare()
}

// samplePack is a pack as a controller sends it: three values of one probe.
func samplePack(probe int) string {
	return fmt.Sprintf(`[{"bn":"%d:%d:","bt":1830000000,"n":"moisture","u":"/","v":0.462},{"n":"ec","u":"S/m","v":0.18},{"n":"temperature","u":"Cel","v":22.1}]`,
		1+probe/10, probe%10)
}

func (p *pourer) prepare() error {
	for i := range pourProbes {
		var b strings.Builder
		m := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
		m.TopicName, m.Payload = root+"readings", []byte(samplePack(i))
		if err := m.Write(&b); err != nil {
			return err
		}
		p.packs = append(p.packs, []byte(b.String()))
	}
	return nil
}

// publish queues pack i; an error shows at flush.
func (p *pourer) publish(i int) { _, _ = p.out.Write(p.packs[i%pourProbes]) }

func (p *pourer) flush() error { return p.out.Flush() }

// close flushes and ends the connection.
func (p *pourer) close() error { return errors.Join(p.flush(), p.conn.Close()) }
