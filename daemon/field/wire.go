package field

import (
	"bufio"
	"errors"
	"io"
	"net"
	"time"
)

// maxPacket is the longest packet that is read whole: a payload one byte over what
// is taken, and room for the longest topic that is subscribed to.
const maxPacket = MaxPayload + 1 + 512

// packetPublish is the control packet type of PUBLISH (MQTT 3.1.1, section 2.2.1).
const packetPublish = 3

var errPacketTooLong = errors.New("read from the broker: a control packet is longer than any can be")

// wire is a connection to the broker with two guards: every write has a deadline
// (acknowledgements and pings too), and a PUBLISH longer than maxPacket is cut to
// that while it is read, so that it is refused by its size and never held whole.
type wire struct {
	net.Conn
	in    *bufio.Reader
	write time.Duration
	head  []byte // fixed header still to hand over
	body  int    // bytes of the packet still to hand over
	skip  int    // bytes of the packet to leave out after those
	buf   [5]byte
}

func newWire(c net.Conn, write time.Duration) *wire {
	return &wire{Conn: c, in: bufio.NewReaderSize(c, 16<<10), write: write}
}

// Write sends p within the deadline.
func (w *wire) Write(p []byte) (int, error) {
	if err := w.SetWriteDeadline(time.Now().Add(w.write)); err != nil {
		return 0, err
	}
	return w.Conn.Write(p)
}

// Read hands over packets, cut where they are too long.
func (w *wire) Read(p []byte) (int, error) {
	if len(p) == 0 {
		return 0, nil
	}
	if w.body == 0 && len(w.head) == 0 {
		if err := w.nextPacket(); err != nil {
			return 0, err
		}
	}
	if len(w.head) > 0 {
		n := copy(p, w.head)
		w.head = w.head[n:]
		return n, nil
	}
	n, err := w.in.Read(p[:min(len(p), w.body)])
	w.body -= n
	return n, err
}

// nextPacket reads a fixed header (MQTT 3.1.1, section 2.2).
func (w *wire) nextPacket() error {
	if _, err := w.in.Discard(w.skip); err != nil {
		return err
	}
	w.skip = 0
	first, err := w.in.ReadByte()
	if err != nil {
		return err
	}
	length, err := readLength(w.in)
	if err != nil {
		return err
	}
	if length > maxPacket {
		if first>>4 != packetPublish {
			return errPacketTooLong
		}
		w.skip = length - maxPacket
		length = maxPacket
	}
	w.body = length
	w.head = appendLength(append(w.buf[:0], first), length)
	return nil
}

// readLength reads a remaining length: 7 bits a byte, lowest first, four at most
// (MQTT 3.1.1, section 2.2.3).
func readLength(r io.ByteReader) (int, error) {
	length := 0
	for shift := 0; shift < 28; shift += 7 {
		b, err := r.ReadByte()
		if err != nil {
			return 0, err
		}
		length |= int(b&0x7f) << shift
		if b&0x80 == 0 {
			return length, nil
		}
	}
	return 0, errPacketTooLong
}

func appendLength(b []byte, length int) []byte {
	for length >= 0x80 {
		b = append(b, byte(length)|0x80)
		length >>= 7
	}
	return append(b, byte(length))
}
