package operator

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
)

// ErrNotRunning says that nobody answers at the control socket.
var ErrNotRunning = errors.New("no rillgate answers")

// Refusal is an error that the daemon gave.
type Refusal struct{ Text, Hint string }

func (r *Refusal) Error() string { return r.Text }

// Ask sends one request to the socket at path and hands each reply to take, until
// the last one or an error from take. A refusal by the daemon is a *Refusal; a
// socket where nobody answers is ErrNotRunning.
func Ask(ctx context.Context, path string, req Request, take func(Reply) error) error {
	return Send(ctx, path, req, nil, take)
}

// Send is Ask with req.Size bytes of body behind the request.
func Send(ctx context.Context, path string, req Request, body io.Reader, take func(Reply) error) error {
	var d net.Dialer
	conn, err := d.DialContext(ctx, "unix", path)
	if err != nil {
		return fmt.Errorf("%w at %s: %w", ErrNotRunning, path, err)
	}
	defer conn.Close()
	stop := context.AfterFunc(ctx, func() { conn.Close() })
	defer stop()
	line, err := json.Marshal(req)
	if err != nil {
		return fmt.Errorf("write request: %w", err)
	}
	if _, err := conn.Write(append(line, '\n')); err != nil {
		// A daemon that sends this one away has said why, and hung up.
		if said := replies(ctx, conn, take); errors.As(said, new(*Refusal)) {
			return said
		}
		return fmt.Errorf("write request to %s: %w", path, err)
	}
	if body != nil {
		_, _ = io.CopyN(conn, body, req.Size) // the daemon says better what was wrong
	}
	return replies(ctx, conn, take)
}

func replies(ctx context.Context, r io.Reader, take func(Reply) error) error {
	dec := json.NewDecoder(bufio.NewReader(r))
	for {
		var rep Reply
		if err := dec.Decode(&rep); err != nil {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			return fmt.Errorf("read the daemon's reply: %w", err)
		}
		if rep.Error != "" {
			return &Refusal{Text: rep.Error, Hint: rep.Hint}
		}
		if err := take(rep); err != nil || rep.Done {
			return err
		}
	}
}
