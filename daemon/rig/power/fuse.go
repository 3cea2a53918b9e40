//go:build linux

package power

import (
	"encoding/binary"
	"errors"
	"fmt"

	"golang.org/x/sys/unix"
)

// The part of the kernel's protocol that one file needs: linux/fuse.h, 7.31.
const (
	opLookup   = 1
	opForget   = 2
	opGetattr  = 3
	opSetattr  = 4
	opOpen     = 14
	opRead     = 15
	opWrite    = 16
	opStatfs   = 17
	opRelease  = 18
	opFsync    = 20
	opFlush    = 25
	opInit     = 26
	opAccess   = 34
	opIntr     = 36
	opDestroy  = 38
	opForgets  = 42
	headIn     = 40
	headOut    = 16
	writeIn    = 40
	maxWrite   = 1 << 20
	flagBig    = 1 << 5
	flagPages  = 1 << 22
	rootNode   = 1
	fileNode   = 2
	fileName   = "card"
	validForS  = 3600
	directory  = unix.S_IFDIR | 0o755
	plainFile  = unix.S_IFREG | 0o600
	attrSize   = 88
	entrySize  = 40 + attrSize
	attrOut    = 16 + attrSize
	statfsSize = 80
)

// server answers the kernel for one mounted card.
type server struct {
	fd   int
	card *card
	done chan struct{}
}

// serveCard mounts a directory whose one file is the card, and serves it until the
// directory is unmounted.
func serveCard(c *card, at string) (*server, error) {
	fd, err := unix.Open("/dev/fuse", unix.O_RDWR|unix.O_CLOEXEC, 0)
	if err != nil {
		return nil, fmt.Errorf("open /dev/fuse: %w", err)
	}
	options := fmt.Sprintf("fd=%d,rootmode=40755,user_id=0,group_id=0,allow_other", fd)
	if err := unix.Mount("card", at, "fuse", unix.MS_NOSUID|unix.MS_NODEV, options); err != nil {
		unix.Close(fd)
		return nil, fmt.Errorf("mount the card at %s: %w", at, err)
	}
	s := &server{fd: fd, card: c, done: make(chan struct{})}
	go s.serve()
	return s, nil
}

// serve ends when the kernel ends the connection.
func (s *server) serve() {
	defer close(s.done)
	defer unix.Close(s.fd)
	buf := make([]byte, maxWrite+4096)
	for {
		n, err := unix.Read(s.fd, buf)
		switch {
		case errors.Is(err, unix.EINTR), errors.Is(err, unix.ENOENT), errors.Is(err, unix.EAGAIN):
			continue // an interrupted request
		case err != nil || n < headIn:
			return
		}
		s.answer(buf[:n])
	}
}

// answer handles one request.
func (s *server) answer(req []byte) {
	le := binary.LittleEndian
	op, unique, node, body := le.Uint32(req[4:]), le.Uint64(req[8:]), le.Uint64(req[16:]), req[headIn:]
	switch op {
	case opForget, opForgets, opIntr:
		return // no answer is due
	}
	out, errno := s.do(op, node, body)
	reply := make([]byte, headOut, headOut+len(out))
	le.PutUint32(reply, uint32(headOut+len(out)))
	le.PutUint32(reply[4:], uint32(-int32(errno)))
	le.PutUint64(reply[8:], unique)
	// A request that was interrupted meanwhile needs no answer any more.
	_, _ = unix.Write(s.fd, append(reply, out...))
}

func (s *server) do(op uint32, node uint64, body []byte) ([]byte, unix.Errno) {
	le := binary.LittleEndian
	switch op {
	case opInit:
		return initReply(body), 0
	case opLookup:
		if node != rootNode || string(body) != fileName+"\x00" {
			return nil, unix.ENOENT
		}
		return s.entry(), 0
	case opGetattr, opSetattr:
		return s.attributes(node), 0
	case opOpen:
		return make([]byte, 16), 0
	case opRead:
		into := make([]byte, le.Uint32(body[16:]))
		return into[:s.card.read(into, int64(le.Uint64(body[8:])))], 0
	case opWrite:
		return s.write(body)
	case opFsync:
		s.card.flush()
		return nil, 0
	case opStatfs:
		return make([]byte, statfsSize), 0
	case opRelease, opFlush, opAccess, opDestroy:
		return nil, 0
	}
	return nil, unix.ENOSYS
}

func (s *server) write(body []byte) ([]byte, unix.Errno) {
	le := binary.LittleEndian
	data := body[writeIn:]
	if !s.card.write(data, int64(le.Uint64(body[8:]))) {
		return nil, unix.ENOSPC
	}
	out := make([]byte, 8)
	le.PutUint32(out, uint32(len(data)))
	return out, 0
}

func initReply(body []byte) []byte {
	le := binary.LittleEndian
	out := make([]byte, 64)
	le.PutUint32(out, 7)
	le.PutUint32(out[4:], 31)
	le.PutUint32(out[8:], le.Uint32(body[8:])) // read ahead as the kernel likes
	le.PutUint32(out[12:], flagBig|flagPages)
	le.PutUint16(out[16:], 64) // requests in the background
	le.PutUint16(out[18:], 48)
	le.PutUint32(out[20:], maxWrite)
	le.PutUint32(out[24:], 1) // ns
	le.PutUint16(out[28:], maxWrite/4096)
	return out
}

func (s *server) entry() []byte {
	le := binary.LittleEndian
	out := make([]byte, entrySize)
	le.PutUint64(out, fileNode)
	le.PutUint64(out[16:], validForS)
	le.PutUint64(out[24:], validForS)
	s.attr(out[40:], fileNode)
	return out
}

func (s *server) attributes(node uint64) []byte {
	out := make([]byte, attrOut)
	binary.LittleEndian.PutUint64(out, validForS)
	s.attr(out[16:], node)
	return out
}

func (s *server) attr(out []byte, node uint64) {
	le := binary.LittleEndian
	mode, size := uint32(directory), uint64(0)
	if node == fileNode {
		mode, size = plainFile, uint64(s.card.size())
	}
	le.PutUint64(out, node)
	le.PutUint64(out[8:], size)
	le.PutUint64(out[16:], size/sectorSize)
	le.PutUint32(out[60:], mode)
	le.PutUint32(out[64:], 1) // links
	le.PutUint32(out[80:], blockSize)
}
