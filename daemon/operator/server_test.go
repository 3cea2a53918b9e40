package operator_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/history"
	"rillgate/daemon/operator"
	"rillgate/daemon/report"
	"rillgate/zones"
)

// desk is a room that remembers what it was asked.
type desk struct {
	kept   []operator.Paper
	view   zones.View
	orders []zones.Order
	more   chan operator.Line
	by     string
}

func (d *desk) View(context.Context) (*zones.View, error) { return &d.view, nil }

func (d *desk) Notices(context.Context) []string { return []string{"files differ"} }

func (d *desk) Evidence(_ context.Context, kind, name string) (*operator.Evidence, error) {
	return &operator.Evidence{Now: d.view.Wall, Valve: &zones.ValveEvidence{Supply: kind + " of " + name}}, nil
}

func (d *desk) Order(_ context.Context, o zones.Order) (zones.Answer, error) {
	d.orders = append(d.orders, o)
	return zones.Answer{Kind: o.Kind, Subject: o.Zone, Accepted: o.Zone == "east", Reason: zones.HeldByPerson, Because: "as asked"}, nil
}

func (d *desk) Recent(context.Context, uint64, int) ([]operator.Line, error) {
	return []operator.Line{{Seq: 7, Entry: zones.Entry{Kind: "run-opened", Zone: "east"}}}, nil
}

func (d *desk) Follow(ctx context.Context, from uint64, n int) ([]operator.Line, <-chan operator.Line, func(), error) {
	l, err := d.Recent(ctx, from, n)
	return l, d.more, func() {}, err
}

func (d *desk) Apply(_ context.Context, hash, by, _ string) (*operator.Applied, error) {
	d.by = by
	if hash != "" {
		return nil, &operator.Refusal{Text: "no such plan", Hint: "see plans"}
	}
	return &operator.Applied{Plan: "abc", Changes: []string{"east: below 40 %"}}, nil
}

func (d *desk) Keep(_ context.Context, p operator.Paper, note string) error {
	d.kept = append(d.kept, p)
	return nil
}

func (d *desk) Papers(_ context.Context, kind string) (out []operator.Paper, err error) {
	for _, p := range d.kept {
		if p.Kind == kind {
			out = append(out, p)
		}
	}
	return out, nil
}

func (d *desk) Report(_ context.Context, ask report.Ask) (*report.Report, error) {
	return &report.Report{Room: "bay-2", Days: []report.Day{{Date: ask.Day}}}, nil
}

func (d *desk) Plans(context.Context) ([]operator.Plan, error) {
	return nil, errors.New("read plans: disk")
}

func (d *desk) Backup(_ context.Context, w io.Writer) error {
	_, err := w.Write(bytes.Repeat([]byte("rillgate"), 20_000))
	return err
}

func (d *desk) Restore(_ context.Context, backup io.Reader, _, _ string) (*operator.Applied, error) {
	all, err := io.ReadAll(backup)
	if err != nil {
		return nil, err
	}
	return &operator.Applied{Changes: []string{string(all)}}, nil
}

func (d *desk) Trace(context.Context, io.Writer) error { return nil }
func (d *desk) History(_ context.Context, ask history.Ask, w io.Writer) error {
	_, err := io.WriteString(w, "past of "+ask.Zone)
	return err
}

func serve(t *testing.T) (*desk, string) {
	t.Helper()
	d := &desk{more: make(chan operator.Line, 1)}
	path := filepath.Join(t.TempDir(), operator.SocketName)
	s, err := operator.Listen(path, &operator.Desk{Room: d, Book: d, Files: d})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return d, path
}

func ask(t *testing.T, path string, req operator.Request) (got []operator.Reply, err error) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	err = operator.Ask(ctx, path, req, func(r operator.Reply) error {
		got = append(got, r)
		return nil
	})
	return got, err
}

func TestSocketIsForOwnerAndGroup(t *testing.T) {
	_, path := serve(t)
	info, err := os.Stat(path)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o660), info.Mode().Perm())
}

func TestOrderGoesWithThePeersName(t *testing.T) {
	d, path := serve(t)
	got, err := ask(t, path, operator.Request{Kind: operator.AskOrder,
		Order: &operator.Order{Kind: zones.OrderHold, Zone: "east", For: operator.Duration(time.Hour), Note: "pruning"}})
	require.NoError(t, err)
	require.Len(t, got, 1)
	require.True(t, got[0].Answer.Accepted)
	require.Len(t, d.orders, 1)
	o := d.orders[0]
	require.Equal(t, time.Hour, o.For)
	require.Equal(t, zones.Source("socket"), o.Source)
	require.Contains(t, o.By, "uid")
	require.Equal(t, "pruning", o.Note)
}

func TestErrorsOfTheDeskReachThePeer(t *testing.T) {
	_, path := serve(t)
	_, err := ask(t, path, operator.Request{Kind: operator.AskApply, Plan: "nope"})
	var refused *operator.Refusal
	require.ErrorAs(t, err, &refused)
	require.Equal(t, "no such plan", refused.Text)
	require.Equal(t, "see plans", refused.Hint)
	_, err = ask(t, path, operator.Request{Kind: operator.AskPlans})
	require.ErrorContains(t, err, "read plans: disk")
	_, err = ask(t, path, operator.Request{Kind: "dance"})
	require.ErrorContains(t, err, "no such request")
	_, err = ask(t, path, operator.Request{Kind: operator.AskOrder, Order: &operator.Order{Kind: "flood"}})
	require.ErrorContains(t, err, `"flood" is no kind of order`)
}

func TestBackupComesWhole(t *testing.T) {
	_, path := serve(t)
	got, err := ask(t, path, operator.Request{Kind: operator.AskBackup})
	require.NoError(t, err)
	var all bytes.Buffer
	for _, r := range got {
		all.Write(r.Data)
	}
	require.Equal(t, 160_000, all.Len())
	require.True(t, got[len(got)-1].Done)
}

func TestRestoreTakesWhatFollowsTheRequest(t *testing.T) {
	_, path := serve(t)
	send := func(text string, size int64) (changes []string, err error) {
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		err = operator.Send(ctx, path, operator.Request{Kind: operator.AskRestore, Size: size}, strings.NewReader(text), func(r operator.Reply) error {
			changes = r.Applied.Changes
			return nil
		})
		return changes, err
	}
	text := strings.Repeat("backup ", 30_000)
	got, err := send(text, int64(len(text)))
	require.NoError(t, err)
	require.Equal(t, []string{text}, got)
	_, err = send(text, operator.MaxBackup+1)
	require.ErrorContains(t, err, "larger than any")
}

func TestFollowerGetsWhatComesAfter(t *testing.T) {
	d, path := serve(t)
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	var seqs []uint64
	done := errors.New("enough")
	err := operator.Ask(ctx, path, operator.Request{Kind: operator.AskJournal, Follow: true}, func(r operator.Reply) error {
		for _, l := range r.Lines {
			seqs = append(seqs, l.Seq)
		}
		if len(seqs) == 1 {
			d.more <- operator.Line{Seq: 8}
			return nil
		}
		return done
	})
	require.ErrorIs(t, err, done)
	require.Equal(t, []uint64{7, 8}, seqs)
}

func TestFollowerThatFellBehindIsTold(t *testing.T) {
	d, path := serve(t)
	close(d.more)
	_, err := ask(t, path, operator.Request{Kind: operator.AskJournal, Follow: true})
	require.ErrorContains(t, err, "fell behind")
}

func TestRequestsAreBounded(t *testing.T) {
	_, path := serve(t)
	for name, text := range map[string]string{
		"too long":  `{"kind":"view","note":"` + strings.Repeat("x", operator.MaxRequest) + `"}` + "\n",
		"no JSON":   "view\n",
		"two":       `{"kind":"view"}{"kind":"plans"}` + "\n",
		"unknown":   `{"kind":"view","force":true}` + "\n",
		"wrong for": `{"kind":"order","order":{"kind":"hold","for":"soon"}}` + "\n",
	} {
		t.Run(name, func(t *testing.T) {
			conn, err := net.Dial("unix", path)
			require.NoError(t, err)
			defer conn.Close()
			_, _ = conn.Write([]byte(text)) // the daemon may hang up before all is written
			require.NoError(t, conn.SetReadDeadline(time.Now().Add(5*time.Second)))
			answer := make([]byte, 4096)
			n, err := conn.Read(answer)
			if name != "too long" {
				require.NoError(t, err)
			}
			if err == nil {
				require.Contains(t, string(answer[:n]), `"error"`)
			}
		})
	}
	_, err := ask(t, path, operator.Request{Kind: operator.AskView})
	require.NoError(t, err, "the socket serves on")
}

func TestNobodyAnswers(t *testing.T) {
	_, err := ask(t, filepath.Join(t.TempDir(), "none.sock"), operator.Request{Kind: operator.AskView})
	require.ErrorIs(t, err, operator.ErrNotRunning)
}

// A person may write what a person measures, and nothing that the daemon keeps itself.
func TestPapersByPersons(t *testing.T) {
	d, path := serve(t)
	_, err := ask(t, path, operator.Request{Kind: operator.AskKeep, Paper: &operator.Paper{Kind: operator.PaperDrain, Key: "east", Body: []byte(`{"ml":1}`), By: "somebody else"}})
	require.NoError(t, err)
	got, err := ask(t, path, operator.Request{Kind: operator.AskPapers, Subject: operator.PaperDrain})
	require.NoError(t, err)
	require.Len(t, got, 1)
	require.Len(t, got[0].Papers, 1)
	require.Len(t, d.kept, 1)
	require.Contains(t, got[0].Papers[0].By, "uid", "the kernel says who it is")
	for _, p := range []*operator.Paper{nil, {Kind: "learned", Key: "bay"}, {Kind: operator.PaperDrain}} {
		_, err = ask(t, path, operator.Request{Kind: operator.AskKeep, Paper: p})
		require.ErrorContains(t, err, "no paper that a person may write")
	}
}

// Who follows the journal keeps nobody from an order.
func TestFollowersLeaveRoomForOrders(t *testing.T) {
	d, path := serve(t)
	d.more = make(chan operator.Line)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	following, refused := make(chan struct{}, operator.MaxPeers), make(chan error, operator.MaxPeers)
	for range operator.MaxFollow + 2 {
		go func() {
			refused <- operator.Ask(ctx, path, operator.Request{Kind: operator.AskJournal, Follow: true}, func(operator.Reply) error {
				following <- struct{}{}
				return nil
			})
		}()
	}
	for range operator.MaxFollow {
		<-following
	}
	for range 2 {
		require.ErrorContains(t, <-refused, "too many follow the journal")
	}
	got, err := ask(t, path, operator.Request{Kind: operator.AskOrder, Order: &operator.Order{Kind: zones.OrderStop, Zone: "east"}})
	require.NoError(t, err)
	require.True(t, got[0].Answer.Accepted)
}
