package operator

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"io"
	"math"
	"net"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/history"
	"rillgate/daemon/report"
	"rillgate/zones"
)

// line is a connection on which a peer has written and hung up.
type line struct {
	net.Conn
	in  *bytes.Reader
	out bytes.Buffer
}

func (l *line) Read(b []byte) (int, error)       { return l.in.Read(b) }
func (l *line) Write(b []byte) (int, error)      { return l.out.Write(b) }
func (l *line) SetReadDeadline(time.Time) error  { return nil }
func (l *line) SetWriteDeadline(time.Time) error { return nil }
func (l *line) Close() error                     { return nil }

// clerk answers everything and keeps what reached the room.
type clerk struct {
	view    zones.View
	orders  []zones.Order
	applied []string // who asked for it
	asked   int      // lines of the journal
	took    int64    // bytes of a backup
}

func (c *clerk) View(context.Context) (*zones.View, error) { return &c.view, nil }
func (c *clerk) Notices(context.Context) []string          { return nil }
func (c *clerk) Evidence(context.Context, string, string) (*Evidence, error) {
	return &Evidence{Now: c.view.Wall, Valve: &zones.ValveEvidence{}, Probe: &zones.ProbeEvidence{}}, nil
}
func (c *clerk) Order(_ context.Context, o zones.Order) (zones.Answer, error) {
	c.orders = append(c.orders, o)
	return zones.Answer{Kind: o.Kind}, nil
}
func (c *clerk) Recent(_ context.Context, _ uint64, n int) ([]Line, error) {
	c.asked = n
	return []Line{{Seq: 1}}, nil
}
func (c *clerk) Follow(ctx context.Context, from uint64, n int) ([]Line, <-chan Line, func(), error) {
	lines, err := c.Recent(ctx, from, n)
	over := make(chan Line)
	close(over)
	return lines, over, func() {}, err
}
func (c *clerk) Apply(_ context.Context, _, by, _ string) (*Applied, error) {
	c.applied = append(c.applied, by)
	return &Applied{}, nil
}
func (c *clerk) Keep(_ context.Context, p Paper, _ string) error {
	c.applied = append(c.applied, p.By)
	return nil
}
func (c *clerk) Papers(context.Context, string) ([]Paper, error) { return nil, nil }
func (c *clerk) Report(context.Context, report.Ask) (*report.Report, error) {
	return &report.Report{}, nil
}
func (c *clerk) Plans(context.Context) ([]Plan, error) { return nil, nil }
func (c *clerk) Backup(_ context.Context, w io.Writer) error {
	_, err := w.Write([]byte("b"))
	return err
}
func (c *clerk) History(_ context.Context, _ history.Ask, w io.Writer) error {
	_, err := io.WriteString(w, "time\r\n")
	return err
}
func (c *clerk) Trace(_ context.Context, w io.Writer) error {
	_, err := w.Write([]byte("t"))
	return err
}
func (c *clerk) Restore(_ context.Context, r io.Reader, by, _ string) (*Applied, error) {
	n, err := io.Copy(io.Discard, r)
	c.took, c.applied = n, append(c.applied, by)
	return &Applied{}, err
}

// FuzzAsk: whatever a peer writes is one request in its bounds or refused; an order
// that reaches the room bears the peer's name as the kernel says it, and every
// conversation ends with one last word.
func FuzzAsk(f *testing.F) {
	for _, text := range []string{
		`{"kind":"view"}`, `{"kind":"why","subject":"east"}`, `{"kind":"journal","n":-1,"from":3}`, `{"kind":"journal","follow":true,"n":99999999}`,
		`{"kind":"order","order":{"kind":"hold","zone":"east","for":"2h","note":"x"}}`, `{"kind":"order","order":{"kind":"shot","volume_ml":1e308,"for":"-2562047h47m16.854775808s"}}`,
		`{"kind":"order","order":{"kind":"flood"}}`, `{"kind":"order"}`, `{"kind":"order","order":null}`, `{"kind":"keep","paper":{"kind":"drain","key":"east","body":{}}}`, `{"kind":"keep","paper":{"kind":"learned","key":"x"}}`, `{"kind":"papers","subject":"catch"}`, `{"kind":"apply","plan":"aa"}`, `{"kind":"plans"}`,
		`{"kind":"backup"}`, `{"kind":"trace"}`, `{"kind":"restore","size":3}`, `{"kind":"restore","size":-1}`, `{"kind":"restore","size":1073741825}`,
		`{"kind":"view"} {"kind":"order"}`, `{"kind":"view","by":"root"}`, `null`, `[]`, `{"KIND":"view"}`, `{"kind":"view","kind":"plans"}`,
	} {
		f.Add([]byte(text+"\n"), []byte("abc"))
	}
	in := bufio.NewReaderSize(nil, MaxRequest)
	f.Fuzz(func(t *testing.T, text, rest []byte) {
		conn := &line{in: bytes.NewReader(append(slices.Clip(text), rest...))}
		in.Reset(conn)
		req, err := read(conn, in)
		if err != nil {
			refuse(conn, err)
			requireLastWord(t, conn.out.Bytes())
			return
		}
		requireRequest(t, append(text, rest...), req)
		c := &clerk{}
		desk := &Desk{Room: c, Book: c, Files: c}
		body := &steady{conn: conn, in: in, left: req.Size}
		err = desk.answer(t.Context(), req, body, "ana (uid 1000)", func(r Reply) error { return send(conn, &r) })
		if err != nil {
			refuse(conn, err)
		}
		requireLastWord(t, conn.out.Bytes())
		requireOrders(t, c, req)
	})
}

// requireRequest: what was taken is the whole first line, and reads the same when it
// is written.
func requireRequest(t *testing.T, text []byte, req *Request) {
	first, _, _ := bytes.Cut(text, []byte("\n"))
	require.LessOrEqual(t, len(first), MaxRequest)
	require.True(t, json.Valid(first), "%q was taken for a request", first)
	require.True(t, req.Size >= 0 && req.Size <= MaxBackup)
	written, err := json.Marshal(req)
	require.NoError(t, err)
	again := &Request{}
	require.NoError(t, json.Unmarshal(written, again))
	rewritten, err := json.Marshal(again)
	require.NoError(t, err)
	require.Equal(t, string(written), string(rewritten))
}

// requireLastWord: replies are JSON lines, of which the last alone says done.
func requireLastWord(t *testing.T, out []byte) {
	lines := bytes.Split(bytes.TrimSuffix(out, []byte("\n")), []byte("\n"))
	for i, l := range lines {
		var r Reply
		require.NoError(t, json.Unmarshal(l, &r))
		require.Equal(t, i == len(lines)-1, r.Done, "%s", out)
	}
}

func requireOrders(t *testing.T, c *clerk, req *Request) {
	require.LessOrEqual(t, len(c.orders)+len(c.applied), 1, "one request, one deed")
	require.True(t, c.asked >= 0 && c.asked <= maxLines)
	require.LessOrEqual(t, c.took, req.Size)
	for _, o := range c.orders {
		require.Equal(t, AskOrder, req.Kind)
		require.Contains(t, zones.OrderKinds(), o.Kind)
		require.Equal(t, zones.Source("socket"), o.Source)
		require.Equal(t, "ana (uid 1000)", o.By)
		require.False(t, math.IsNaN(o.VolumeML) || math.IsInf(o.VolumeML, 0))
	}
	for _, by := range c.applied {
		require.Equal(t, "ana (uid 1000)", by)
	}
}
