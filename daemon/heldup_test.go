package daemon

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/zones"
)

// brokenDisk is a ledger that cannot be written.
type brokenDisk struct{}

func (brokenDisk) Append(...*zones.Record) error {
	return errors.New("write ledger: input/output error")
}

// An order whose own record meets the failure is not told as if it stood: the room could
// not know of it yet. One behind the failure says so once.
func TestOrderThatAFailingDiskForgets(t *testing.T) {
	d := &Daemon{}
	d.recorder = newRecorder(brokenDisk{})
	a := zones.Answer{Accepted: true, Because: "the room is stopped"}
	require.Equal(t, a, d.forgetful(a))
	d.recorder.put(&zones.Record{Seq: 1})
	<-d.recorder.written()
	require.Equal(t, "the room is stopped; the ledger cannot be written: a restart forgets it", d.forgetful(a).Because)
	require.Equal(t, d.forgetful(a), d.forgetful(d.forgetful(a)))
	note := zones.Answer{Kind: zones.OrderNote, Accepted: true, Because: "noted"}
	require.Equal(t, note, d.forgetful(note), "it is in the store")
	d.recorder.close()
	<-d.recorder.done
	d.recorder.put(&zones.Record{Seq: 2})
	require.True(t, d.recorder.lost())

	full := newRecorder(&stuckDisk{make(chan struct{}), make(chan struct{})})
	for i := range 2*recordsWaiting + 2 { // as many may be on their way
		full.put(&zones.Record{Seq: uint64(i)})
	}
	require.True(t, full.lost())
}

// The stop of a room whose disk fails with it: who asked is told that a restart forgets it.
func TestStopOnAFailingDisk(t *testing.T) {
	o, _ := inRoom(t)
	d := open(t, o)
	was := d.recorder
	d.recorder = newRecorder(brokenDisk{})
	var a zones.Answer
	var err error
	ask(t, d, func(ctx context.Context) { a, err = d.Order(ctx, zones.Order{Kind: zones.OrderStop, Source: "socket"}) })
	require.NoError(t, err)
	require.True(t, a.Accepted)
	require.Contains(t, a.Because, "a restart forgets it")
	d.recorder.close()
	d.recorder = was
	_ = d.Close(nil)
}

// What a caller gave up never runs afterwards: nobody expects it any more. What runs when
// the caller gives up is waited for, and its answer is true.
func TestWhatIsGivenUpNeverRuns(t *testing.T) {
	d := &Daemon{posts: make(chan func(), 2), ended: make(chan struct{})}
	ctx, cancel := context.WithCancel(t.Context())
	ran := false
	got := make(chan error, 1)
	go func() { got <- d.post(ctx, func() { ran = true }) }()
	job := <-d.posts
	cancel()
	require.ErrorIs(t, <-got, context.Canceled)
	job()
	require.False(t, ran)

	ctx, cancel = context.WithCancel(t.Context())
	began, release := make(chan struct{}), make(chan struct{})
	go func() {
		got <- d.post(ctx, func() {
			close(began)
			<-release
			ran = true
		})
	}()
	job = <-d.posts
	go job()
	<-began
	cancel()
	time.Sleep(10 * time.Millisecond)
	close(release)
	require.NoError(t, <-got)
	require.True(t, ran)

	go func() { got <- d.post(t.Context(), func() { ran = false }) }()
	job = <-d.posts
	close(d.ended)
	require.ErrorIs(t, <-got, errEnding)
	job()
	require.True(t, ran)
}

// An order for water from a set-topic that the loop meets too late is refused; a stop never is.
func TestOrderForWaterThatWaited(t *testing.T) {
	for _, c := range []struct {
		kind   zones.OrderKind
		wait   time.Duration
		obeyed bool
	}{
		{zones.OrderShot, tooLate, true}, {zones.OrderShot, tooLate + 1, false}, {zones.OrderSoak, tooLate + 1, false},
		{zones.OrderStop, time.Hour, true},
	} {
		o, clock := inRoom(t)
		d := open(t, o)
		d.latest = zones.Answer{}
		require.True(t, d.submit(zones.Order{ID: "m-1", Kind: c.kind, Zone: "bench-a", For: time.Minute, Source: "mqtt"}))
		clock.Set(clock.Since() + c.wait)
		d.runPosts()
		late := strings.Contains(d.latest.Because, "nobody expects water so late")
		require.Equal(t, !c.obeyed, late, "%s after %s: %s", c.kind, c.wait, d.latest.Because)
		require.NoError(t, d.Close(nil))
	}
}

// A note is in the store when its writer is told so, and is one line.
func TestANoteIsWrittenWhenItIsTold(t *testing.T) {
	o, _ := inRoom(t)
	d := open(t, o)
	var err error
	ask(t, d, func(ctx context.Context) {
		_, err = d.Order(ctx, zones.Order{Kind: zones.OrderNote, Note: "the pump was serviced\n2027-01-01 order \x1b[31mreset", Source: "socket"})
	})
	require.NoError(t, err)
	require.False(t, d.trail.waits(d.trail.last()))
	found := false
	for _, l := range d.trail.ring {
		if strings.Contains(l.Note, "the pump was serviced") {
			found = true
			require.Equal(t, "the pump was serviced 2027-01-01 order  [31mreset", l.Note)
		}
	}
	require.True(t, found)
	require.NoError(t, d.Close(nil))
}
