package daemon

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"rillgate/daemon/field"
	"rillgate/zones"
)

// script is a core that answers each event as a test says, and writes a diary.
type script struct {
	diary *[]string
	on    func(ev zones.Event) []zones.Effect
	next  time.Duration
}

func (s *script) Step(_ zones.Instant, ev zones.Event) []zones.Effect {
	*s.diary = append(*s.diary, fmt.Sprintf("step %T", ev))
	if s.on == nil {
		return nil
	}
	return s.on(ev)
}
func (s *script) Next() time.Duration                 { return s.next }
func (s *script) View(zones.Instant) zones.View       { return zones.View{} }
func (s *script) Memory() *zones.Memory               { return &zones.Memory{} }
func (s *script) Age(now zones.Instant) time.Duration { return now.Mono }
func (s *script) Quiet() bool                         { return true }

// wire is a field that writes the same diary.
type wire struct {
	diary   *[]string
	in      []zones.Event
	arrived time.Duration
	wake    chan struct{}
}

func (w *wire) Send(c *zones.Command) bool {
	*w.diary = append(*w.diary, fmt.Sprintf("send open=%v", c.Open))
	return true
}
func (w *wire) Wake() <-chan struct{} { return w.wake }
func (w *wire) Close(context.Context) {}
func (w *wire) Drain(into []field.Arrival) []field.Arrival {
	for _, ev := range w.in {
		into = append(into, field.Arrival{Event: ev, Arrived: w.arrived})
	}
	w.in = nil
	return into
}

// paper is a ledger that a test can hold up or break.
type paper struct {
	hold chan struct{}
	err  error
	got  []uint64
}

func (p *paper) Append(recs ...*zones.Record) error {
	if p.hold != nil {
		<-p.hold
	}
	for _, r := range recs {
		p.got = append(p.got, r.Seq)
	}
	return p.err
}

// hands is a clock that a test sets.
type hands struct {
	wall time.Time
	mono time.Duration
}

func (h *hands) Now() (time.Time, time.Duration) { return h.wall, h.mono }
func (h *hands) Synchronised() bool              { return true }
func (h *hands) pass(d time.Duration)            { h.wall, h.mono = h.wall.Add(d), h.mono+d }

var noon = time.Date(2027, 3, 1, 12, 0, 0, 0, time.UTC)

func newLoop(t *testing.T, p *paper) (*loop, *script, *wire, *hands, *[]string) {
	diary := &[]string{}
	s := &script{diary: diary, next: 100 * time.Hour}
	w := &wire{diary: diary, wake: make(chan struct{}, 1)}
	h := &hands{wall: noon, mono: time.Hour}
	l := &loop{clock: h, trust: &trust{floor: noon.AddDate(-1, 0, 0), synced: h.Synchronised}, room: s, field: w, recorder: newRecorder(p)}
	l.out = outlets{
		entry:  func(_ time.Time, e *zones.Entry) { *diary = append(*diary, "entry "+e.Kind) },
		alarm:  func(*zones.Alarm) { *diary = append(*diary, "alarm") },
		state:  func(*zones.State) { *diary = append(*diary, "state") },
		answer: func(*zones.Answer) { *diary = append(*diary, "answer") },
		seen:   func(zones.Instant, zones.Event, []zones.Effect) {},
	}
	t.Cleanup(func() {
		l.recorder.close()
		<-l.recorder.done
	})
	return l, s, w, h, diary
}

// An opening waits for the ledger: the command leaves only in the step after the
// record's answer.
func TestOpeningFollowsItsRecord(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &paper{hold: make(chan struct{})}
		l, s, w, _, diary := newLoop(t, p)
		s.on = func(ev zones.Event) []zones.Effect {
			switch ev.(type) {
			case *zones.Reading:
				return []zones.Effect{&zones.Record{Seq: 1, Kind: zones.RecIntent, Wait: true}}
			case *zones.Recorded:
				return []zones.Effect{&zones.Command{Open: true}, &zones.State{}}
			}
			return nil
		}
		w.in = []zones.Event{&zones.Reading{}}
		require.True(t, l.pump())
		synctest.Wait()
		require.False(t, l.pump(), "the disk is slow: the loop goes on without it")
		require.False(t, l.recorder.idle())
		close(p.hold)
		synctest.Wait()
		require.True(t, l.pump())
		require.Equal(t, []string{"step *zones.Reading", "step *zones.Recorded", "send open=true", "state"}, *diary)
		require.True(t, l.recorder.idle())
	})
}

// A closing waits for nothing: the command leaves in the same step, before its
// record and while the disk stands.
func TestClosingWaitsForNoDisk(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &paper{hold: make(chan struct{})}
		l, s, w, _, diary := newLoop(t, p)
		s.on = func(ev zones.Event) []zones.Effect {
			return []zones.Effect{&zones.Command{}, &zones.Record{Seq: 1, Kind: zones.RecClose}, &zones.Entry{Kind: "run-closed"}}
		}
		w.in = []zones.Event{&zones.Report{}}
		l.pump()
		require.Equal(t, []string{"step *zones.Report", "send open=false", "entry run-closed"}, *diary)
		s.on = nil
		close(p.hold)
	})
}

func TestFailedRecordComesBackAsOne(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l, s, w, _, diary := newLoop(t, &paper{err: errors.New("no space left on device")})
		s.on = func(ev zones.Event) []zones.Effect {
			if f, ok := ev.(*zones.RecordFailed); ok {
				return []zones.Effect{&zones.Entry{Kind: fmt.Sprint(f.Seq, " ", f.Err)}}
			}
			return []zones.Effect{&zones.Record{Seq: 4}, &zones.Record{Seq: 5}}
		}
		w.in = []zones.Event{&zones.Reading{}}
		l.pump()
		synctest.Wait()
		l.pump()
		require.Contains(t, (*diary)[len(*diary)-1], "no space left on device")
	})
}

// A disk that stands still fills a bounded queue; then records fail at once.
func TestRecordsWaitingAreBounded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &paper{hold: make(chan struct{})}
		r := newRecorder(p)
		r.put(&zones.Record{Seq: 1})
		synctest.Wait() // the writer has taken it and stands
		for i := range recordsWaiting {
			r.put(&zones.Record{Seq: uint64(i + 2)})
		}
		require.Empty(t, r.take())
		r.put(&zones.Record{Seq: recordsWaiting + 2})
		got := r.take()
		require.Len(t, got, 1)
		require.Equal(t, uint64(recordsWaiting+2), got[0].(*zones.RecordFailed).Seq)
		r.close()
		close(p.hold)
		<-r.done
		require.Len(t, p.got, recordsWaiting+1, "what was taken is written before the end, in order")
		require.IsIncreasing(t, p.got)
	})
}

// The effects of one step are used up before the next one begins, since the room
// reuses the slice.
func TestRecordIsCopiedBeforeTheNextStep(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &paper{hold: make(chan struct{})}
		l, s, w, _, _ := newLoop(t, p)
		reused := &zones.Record{Seq: 1}
		s.on = func(zones.Event) []zones.Effect { return []zones.Effect{reused} }
		w.in = []zones.Event{&zones.Reading{}}
		l.pump()
		reused.Seq = 99
		s.on = nil
		close(p.hold)
		synctest.Wait()
		require.Equal(t, []uint64{1}, p.got)
	})
}

func TestBreachStopsTheWatchdog(t *testing.T) {
	l, s, w, _, _ := newLoop(t, &paper{})
	require.True(t, l.proven())
	s.on = func(zones.Event) []zones.Effect { return []zones.Effect{&zones.Breach{Invariant: "INV-6"}} }
	w.in = []zones.Event{&zones.Reading{}}
	l.pump()
	require.False(t, l.proven())
	require.Equal(t, "INV-6", l.breach.Invariant)
}

// What arrived while the loop was held up is taken at the time of its arrival.
func TestLateArrivalKeepsItsTime(t *testing.T) {
	l, _, w, h, _ := newLoop(t, &paper{})
	var times []zones.Instant
	l.out.seen = func(now zones.Instant, _ zones.Event, _ []zones.Effect) { times = append(times, now) }
	l.tick()
	h.pass(7 * time.Second)
	w.in, w.arrived = []zones.Event{&zones.Reading{}}, h.mono-4*time.Second
	l.pump()
	w.in, w.arrived = []zones.Event{&zones.Reading{}}, h.mono-5*time.Second
	l.pump()
	require.Equal(t, h.mono-4*time.Second, times[1].Mono)
	require.Equal(t, noon.Add(3*time.Second), times[1].Wall)
	require.Equal(t, h.mono-4*time.Second, times[2].Mono, "time never goes back")
}

func TestMonoNeverRunsBack(t *testing.T) {
	l, _, _, h, _ := newLoop(t, &paper{})
	l.look()
	h.mono -= time.Second
	l.look()
	require.Equal(t, time.Hour, l.now.Mono)
}

func TestTickIsDueAtTheRoomsDeadlineOrAfterASecond(t *testing.T) {
	l, s, _, h, _ := newLoop(t, &paper{})
	l.tick()
	require.Equal(t, h.mono+tickEvery, l.due())
	s.next = h.mono + 300*time.Millisecond
	require.Equal(t, s.next, l.due())
	s.next = 0
	require.Equal(t, h.mono+tickGap, l.due(), "a deadline that has passed does not make the loop spin")
}
