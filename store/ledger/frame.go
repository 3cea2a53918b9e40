package ledger

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
)

const (
	formatVersion = 1
	headerSize    = 64
	frameHead     = 40
	headerMagic   = "RILLLEDG"
	frameMagic    = "RLF1"
)

type frameKind uint32

const (
	snapshotFrame frameKind = 1
	recordFrame   frameKind = 2
	sealFrame     frameKind = 3
)

// sealSize is kept free at the end of every segment.
const sealSize = frameHead

// frame is one frame as found or to be written.
type frame struct {
	generation, seq, durable uint64
	kind                     frameKind
	payload                  []byte
	start, end               int // offsets in the segment, end after the padding
}

// castagnoli gives CRC-32C (RFC 3720, B.4: the polynomial of iSCSI).
func castagnoli(parts ...[]byte) uint32 {
	table := crc32.MakeTable(crc32.Castagnoli)
	var sum uint32
	for _, p := range parts {
		sum = crc32.Update(sum, table, p)
	}
	return sum
}

func padded(n int) int { return (n + 7) &^ 7 }

// frameSize gives the bytes that a payload of n bytes takes.
func frameSize(n int) int { return padded(frameHead + n) }

// appendFrame adds the frame's bytes to b.
func appendFrame(b []byte, f frame) []byte {
	var head [frameHead]byte
	copy(head[:], frameMagic)
	le := binary.LittleEndian
	le.PutUint32(head[4:], uint32(len(f.payload)))
	le.PutUint64(head[8:], f.generation)
	le.PutUint64(head[16:], f.seq)
	le.PutUint64(head[24:], f.durable)
	le.PutUint32(head[32:], uint32(f.kind))
	le.PutUint32(head[36:], castagnoli(head[:36], f.payload))
	b = append(append(b, head[:]...), f.payload...)
	return append(b, make([]byte, frameSize(len(f.payload))-frameHead-len(f.payload))...)
}

// frameAt reads the frame at an offset; false = there is no whole one.
func frameAt(seg []byte, at int) (frame, bool) {
	if len(seg)-at < frameHead || string(seg[at:at+4]) != frameMagic {
		return frame{}, false
	}
	head, le := seg[at:at+frameHead], binary.LittleEndian
	n := le.Uint32(head[4:])
	if uint64(n) > uint64(len(seg)-at-frameHead) {
		return frame{}, false
	}
	payload := seg[at+frameHead : at+frameHead+int(n)]
	if castagnoli(head[:36], payload) != le.Uint32(head[36:]) {
		return frame{}, false
	}
	return frame{
		generation: le.Uint64(head[8:]), seq: le.Uint64(head[16:]), durable: le.Uint64(head[24:]),
		kind: frameKind(le.Uint32(head[32:])), payload: payload,
		start: at, end: min(at+frameSize(int(n)), len(seg)),
	}, true
}

// framesIn gives every whole frame of a segment, stale ones too, in order of
// place. After a broken place it looks for the next frame at each 8 bytes.
func framesIn(seg []byte) []frame {
	var found []frame
	for at := headerSize; at+frameHead <= len(seg); {
		f, ok := frameAt(seg, at)
		if !ok {
			at = nextMagic(seg, at+8)
			continue
		}
		found = append(found, f)
		at = f.end
	}
	return found
}

// nextMagic gives the next offset, a multiple of 8, at which a frame may begin.
func nextMagic(seg []byte, at int) int {
	for at < len(seg) {
		i := bytes.Index(seg[at:], []byte(frameMagic))
		if i < 0 {
			return len(seg)
		}
		if (at+i)%8 == 0 {
			return at + i
		}
		at += i + 1
	}
	return len(seg)
}

// header is the head of a segment.
type header struct {
	version    uint32
	size       uint32
	generation uint64
}

func appendHeader(b []byte, h header) []byte {
	var head [headerSize]byte
	copy(head[:], headerMagic)
	le := binary.LittleEndian
	le.PutUint32(head[8:], h.version)
	le.PutUint32(head[12:], h.size)
	le.PutUint64(head[16:], h.generation)
	le.PutUint32(head[60:], castagnoli(head[:60]))
	return append(b, head[:]...)
}

// headerOf reads a segment's header; false = it is not whole.
func headerOf(seg []byte) (header, bool) {
	if len(seg) < headerSize || string(seg[:8]) != headerMagic {
		return header{}, false
	}
	le := binary.LittleEndian
	if castagnoli(seg[:60]) != le.Uint32(seg[60:]) {
		return header{}, false
	}
	return header{version: le.Uint32(seg[8:]), size: le.Uint32(seg[12:]), generation: le.Uint64(seg[16:])}, true
}
