package operator

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"sync"
	"time"
)

// Server serves the control socket of one room.
type Server struct {
	desk   *Desk
	ln     *net.UnixListener
	ctx    context.Context
	cancel context.CancelFunc
	slots  chan struct{}
	follow chan struct{} // of those that follow the journal
	wg     sync.WaitGroup
}

func timeOf(d Duration) time.Duration { return time.Duration(d) }

// Listen opens the socket at path, mode 0660, and serves it until Close. A socket
// that an earlier process left is replaced: who calls holds the room's lock.
func Listen(path string, desk *Desk) (*Server, error) {
	if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
		return nil, fmt.Errorf("remove the old control socket: %w", err)
	}
	ln, err := net.ListenUnix("unix", &net.UnixAddr{Name: path, Net: "unix"})
	if err != nil {
		return nil, fmt.Errorf("open the control socket: %w", err)
	}
	if err := os.Chmod(path, 0o660); err != nil {
		return nil, errors.Join(fmt.Errorf("set the control socket's mode: %w", err), ln.Close())
	}
	ctx, cancel := context.WithCancel(context.Background())
	s := &Server{desk: desk, ln: ln, ctx: ctx, cancel: cancel, slots: make(chan struct{}, MaxPeers), follow: make(chan struct{}, MaxFollow)}
	s.wg.Add(1)
	go s.accept()
	return s, nil
}

// Close ends every conversation and removes the socket.
func (s *Server) Close() error {
	s.cancel()
	err := s.ln.Close()
	s.wg.Wait()
	return err
}

func (s *Server) accept() {
	defer s.wg.Done()
	for {
		conn, err := s.ln.AcceptUnix()
		if err != nil {
			if s.ctx.Err() != nil || errors.Is(err, net.ErrClosed) {
				return
			}
			s.pause() // out of files, most likely
			continue
		}
		select {
		case s.slots <- struct{}{}:
			s.wg.Add(1)
			go s.converse(conn)
		default:
			refuse(conn, &Refusal{Text: "too many ask at once", Hint: "try again in a moment"})
			conn.Close()
		}
	}
}

func (s *Server) pause() {
	t := time.NewTimer(100 * time.Millisecond)
	defer t.Stop()
	select {
	case <-t.C:
	case <-s.ctx.Done():
	}
}

// lastWord is how long a conversation may go on after the server was told to close: an
// order that makes the daemon start anew is still answered.
const lastWord = time.Second

// converse answers the one request of a connection.
func (s *Server) converse(conn *net.UnixConn) {
	defer s.wg.Done()
	defer func() { <-s.slots }()
	defer conn.Close()
	ctx, cancel := context.WithCancel(s.ctx)
	defer cancel()
	stop := context.AfterFunc(ctx, func() { time.AfterFunc(lastWord, func() { conn.Close() }) })
	defer stop()

	in := bufio.NewReaderSize(conn, MaxRequest)
	req, err := read(conn, in)
	if err != nil {
		refuse(conn, err)
		return
	}
	var body io.Reader
	if req.Kind == AskRestore {
		body = &steady{conn: conn, in: in, left: req.Size}
	} else {
		go hangUp(conn, cancel) // a peer that goes ends its request
	}
	if req.Follow {
		select {
		case s.follow <- struct{}{}:
			defer func() { <-s.follow }()
		default:
			refuse(conn, &Refusal{Text: "too many follow the journal", Hint: "end one of them, or ask without following"})
			return
		}
	}
	reply := func(r Reply) error { return send(conn, &r) }
	if err := s.desk.answer(ctx, req, body, peer(conn), reply); err != nil && ctx.Err() == nil {
		refuse(conn, err)
	}
}

// read takes one request line within its bounds.
func read(conn net.Conn, in *bufio.Reader) (*Request, error) {
	if err := conn.SetReadDeadline(time.Now().Add(AskWithin)); err != nil {
		return nil, err
	}
	line, err := in.ReadSlice('\n')
	if err != nil {
		return nil, &Refusal{Text: "the request did not end within its bounds", Hint: "one JSON object on one line, 64 KiB at most, within 5 s"}
	}
	dec := json.NewDecoder(bytes.NewReader(line))
	dec.DisallowUnknownFields()
	req := &Request{}
	if err := dec.Decode(req); err != nil {
		return nil, &Refusal{Text: "read the request: " + err.Error(), Hint: "the program may be newer than the daemon"}
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return nil, &Refusal{Text: "more than one request came on one line", Hint: "one JSON object on one line, and one request a connection"}
	}
	if req.Size < 0 || req.Size > MaxBackup {
		return nil, &Refusal{Text: "a backup is larger than any that was ever made"}
	}
	return req, conn.SetReadDeadline(time.Time{})
}

// steady reads what follows a request: all of it, or an error when the peer stalls
// or goes.
type steady struct {
	conn net.Conn
	in   io.Reader
	left int64
}

func (s *steady) Read(p []byte) (int, error) {
	if s.left == 0 {
		return 0, io.EOF
	}
	if err := s.conn.SetReadDeadline(time.Now().Add(ReplyStall)); err != nil {
		return 0, err
	}
	n, err := s.in.Read(p[:min(int64(len(p)), s.left)])
	s.left -= int64(n)
	if errors.Is(err, io.EOF) && s.left > 0 {
		err = io.ErrUnexpectedEOF
	}
	return n, err
}

// hangUp waits for the peer's end of the connection.
func hangUp(conn net.Conn, cancel context.CancelFunc) {
	_, _ = io.Copy(io.Discard, conn)
	cancel()
}

func send(conn net.Conn, r *Reply) error {
	line, err := json.Marshal(r)
	if err != nil {
		return fmt.Errorf("write the reply: %w", err)
	}
	if err := conn.SetWriteDeadline(time.Now().Add(ReplyStall)); err != nil {
		return err
	}
	_, err = conn.Write(append(line, '\n'))
	return err
}

// refuse ends a conversation with an error.
func refuse(conn net.Conn, err error) {
	r := Reply{Done: true, Error: err.Error()}
	var known *Refusal
	if errors.As(err, &known) {
		r.Error, r.Hint = known.Text, known.Hint
	}
	_ = send(conn, &r) // nobody is left to tell
}
