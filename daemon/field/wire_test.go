package field

import (
	"bytes"
	"io"
	"net"
	"testing"
	"testing/iotest"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
	"github.com/stretchr/testify/require"
)

// feed is a connection that gives bytes and takes none.
type feed struct {
	net.Conn
	r io.Reader
}

func (f feed) Read(p []byte) (int, error) { return f.r.Read(p) }

func publishPacket(t *testing.T, topic string, qos byte, payload []byte) []byte {
	t.Helper()
	p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	p.TopicName, p.Qos, p.MessageID, p.Payload = topic, qos, 7, payload
	var b bytes.Buffer
	require.NoError(t, p.Write(&b))
	return b.Bytes()
}

func TestWireCutsLongPublishesAndGoesOn(t *testing.T) {
	var stream bytes.Buffer
	sizes := []int{0, 1, 100, 127, 128, 16383, 16384, MaxPayload, MaxPayload + 1, MaxPayload + 600, 3 << 20, 5}
	for _, n := range sizes {
		stream.Write(publishPacket(t, "a/b", 1, bytes.Repeat([]byte{'x'}, n)))
	}
	stream.Write([]byte{0xd0, 0}) // PINGRESP
	for name, r := range map[string]io.Reader{
		"at once": bytes.NewReader(stream.Bytes()), "byte by byte": iotest.OneByteReader(bytes.NewReader(stream.Bytes())),
	} {
		t.Run(name, func(t *testing.T) {
			w := newWire(feed{r: r}, time.Second)
			for _, n := range sizes {
				cp, err := packets.ReadPacket(w)
				require.NoError(t, err, "size %d", n)
				p := cp.(*packets.PublishPacket)
				require.Equal(t, "a/b", p.TopicName)
				require.Equal(t, uint16(7), p.MessageID)
				if n <= MaxPayload {
					require.Len(t, p.Payload, n)
				} else {
					require.Greater(t, len(p.Payload), MaxPayload, "cut so far that it looks short enough")
					require.LessOrEqual(t, len(p.Payload), maxPacket)
				}
			}
			cp, err := packets.ReadPacket(w)
			require.NoError(t, err)
			require.IsType(t, &packets.PingrespPacket{}, cp)
			_, err = packets.ReadPacket(w)
			require.ErrorIs(t, err, io.EOF)
		})
	}
}

func TestWireRefusesWhatNoBrokerSends(t *testing.T) {
	for name, stream := range map[string][]byte{
		"a long SUBACK":           {0x90, 0xff, 0xff, 0xff, 0x7f, 0},
		"a length of five bytes":  {0x30, 0xff, 0xff, 0xff, 0xff, 0x01},
		"an end within a length":  {0x30, 0xff},
		"an end within a payload": {0x30, 5, 0, 1, 'a'},
	} {
		_, err := packets.ReadPacket(newWire(feed{r: bytes.NewReader(stream)}, time.Second))
		require.Error(t, err, name)
	}
}

func TestWireGivesAStuckWriteUp(t *testing.T) {
	ours, theirs := net.Pipe()
	defer ours.Close()
	defer theirs.Close()
	_, err := newWire(ours, 20*time.Millisecond).Write([]byte("nobody reads this"))
	var timeout net.Error
	require.ErrorAs(t, err, &timeout)
	require.True(t, timeout.Timeout())
}

// What comes through is what went in, or an error; never more than maxPacket at once.
func FuzzWire(f *testing.F) {
	f.Add([]byte{0x30, 3, 0, 1, 'a', 0xd0, 0})
	f.Add([]byte{0x32, 0xff, 0xff, 0x7f, 0, 1, 'a', 0, 7})
	f.Fuzz(func(t *testing.T, stream []byte) {
		w := newWire(feed{r: bytes.NewReader(stream)}, time.Second)
		got, _ := io.ReadAll(w) // it ends with an error where a packet is cut off
		require.LessOrEqual(t, len(got), len(stream)+1)
		if len(stream) < 1<<14 && len(got) > 0 {
			require.Equal(t, stream[0], got[0])
		}
	})
}
